#!/bin/sh
# Makes the two subsets from the full faces: sh make.sh FOLDER_WITH_THE_FULL_FACES
set -eu
here=$(cd "$(dirname "$0")" && pwd)
characters=$(grep -v '^#' "$here/characters.txt" | paste -sd, -)
for face in DejaVuSans DejaVuSans-Bold; do
    # A fixed time stamp, so that the same faces give the same bytes.
    SOURCE_DATE_EPOCH=1469836800 pyftsubset "$1/$face.ttf" --unicodes="$characters" \
        --no-hinting --layout-features='' --legacy-kern --drop-tables+=GPOS,GSUB,GDEF,FFTM,MATH \
        --name-IDs='0,1,2,3,4,5,6,13,14' --notdef-outline --no-recalc-timestamp \
        --output-file="$here/$face-subset.ttf"
done
