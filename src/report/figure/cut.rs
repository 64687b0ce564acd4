//! What lies beyond the ends of the axes is cut off, before it is drawn.

use super::check::Span;

/// The ends of both axes, x first.
pub(super) type Window<'s> = (&'s Span, &'s Span);

/// Whether a place lies inside the window, but for rounding.
pub(super) fn inside((x, y): (f64, f64), (across, up): Window<'_>) -> bool {
    let slack = |span: &Span| 1e-9 * (span.high - span.low);
    x >= across.low - slack(across)
        && x <= across.high + slack(across)
        && y >= up.low - slack(up)
        && y <= up.high + slack(up)
}

/// The pieces of a line that lie inside the window (Liang and Barsky, ACM Transactions on Graphics 3(1), 1984).
pub(super) fn cut_line(line: &[(f64, f64)], (across, up): Window<'_>) -> Vec<Vec<(f64, f64)>> {
    let mut pieces: Vec<Vec<(f64, f64)>> = Vec::new();
    for pair in line.windows(2) {
        let [a, b] = pair else { continue };
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let (mut from, mut to) = (0.0_f64, 1.0_f64);
        let mut out = false;
        for (p, q) in [
            (-dx, a.0 - across.low),
            (dx, across.high - a.0),
            (-dy, a.1 - up.low),
            (dy, up.high - a.1),
        ] {
            if p == 0.0 {
                out |= q < 0.0;
            } else if p < 0.0 {
                from = from.max(q / p);
            } else {
                to = to.min(q / p);
            }
        }
        if out || from > to {
            continue;
        }
        let (start, end) = (
            (a.0 + from * dx, a.1 + from * dy),
            (a.0 + to * dx, a.1 + to * dy),
        );
        match pieces.last_mut() {
            // Goes on where the last piece ended.
            Some(piece) if from == 0.0 && piece.last() == Some(a) => piece.push(end),
            _ => pieces.push(vec![start, end]),
        }
    }
    pieces
}

/// The part of an area inside the window (Sutherland and Hodgman, Communications of the ACM 17(1), 1974).
pub(super) fn cut_area(mut area: Vec<(f64, f64)>, (across, up): Window<'_>) -> Vec<(f64, f64)> {
    type Side<'s> = Box<dyn Fn((f64, f64)) -> f64 + 's>;
    let sides: [Side<'_>; 4] = [
        Box::new(|p| p.0 - across.low),
        Box::new(|p| across.high - p.0),
        Box::new(|p| p.1 - up.low),
        Box::new(|p| up.high - p.1),
    ];
    for side in sides {
        let mut kept = Vec::with_capacity(area.len() + 4);
        let Some(mut before) = area.last().copied() else {
            return area;
        };
        for point in area {
            let (a, b) = (side(before), side(point));
            if (a < 0.0) != (b < 0.0) {
                let t = a / (a - b);
                kept.push((
                    before.0 + t * (point.0 - before.0),
                    before.1 + t * (point.1 - before.1),
                ));
            }
            if b >= 0.0 {
                kept.push(point);
            }
            before = point;
        }
        area = kept;
    }
    area
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPAN: Span = Span {
        low: 0.0,
        high: 10.0,
    };

    #[test]
    fn lines_are_cut_at_the_edge() {
        let pieces = cut_line(
            &[
                (-5.0, 5.0),
                (5.0, 5.0),
                (5.0, 15.0),
                (8.0, 15.0),
                (8.0, 5.0),
            ],
            (&SPAN, &SPAN),
        );
        assert_eq!(
            pieces,
            [
                vec![(0.0, 5.0), (5.0, 5.0), (5.0, 10.0)],
                vec![(8.0, 10.0), (8.0, 5.0)]
            ]
        );
        assert!(cut_line(&[(-5.0, -5.0), (-1.0, 20.0)], (&SPAN, &SPAN)).is_empty());
    }

    #[test]
    fn areas_are_cut_at_the_edge() {
        let area = cut_area(
            vec![(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)],
            (&SPAN, &SPAN),
        );
        assert_eq!(area.len(), 4);
        assert!(
            area.iter()
                .all(|p| (0.0..=5.0).contains(&p.0) && (0.0..=5.0).contains(&p.1))
        );
        assert!(
            cut_area(
                vec![(-5.0, -5.0), (-4.0, -5.0), (-4.0, -4.0)],
                (&SPAN, &SPAN)
            )
            .is_empty()
        );
    }
}
