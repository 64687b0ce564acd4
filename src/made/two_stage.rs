//! The published chamber points of a two-stage heat pump, rewritten as a points table.
//!
//! Dew points become relative humidities and standard airflow becomes flow at the outlet, both by the air room; nothing else is changed.
//! Source and licence: `data/two-stage-heat-pump/README.md`.

use crate::air::{AirError, MoistAir, STANDARD_AIR_KG_M3};

/// Why the source could not be rewritten.
#[derive(Debug, thiserror::Error)]
pub enum TwoStageError {
    /// The source is no readable table.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// A column or number is missing.
    #[error("row {row} of the source has no number under `{column}`")]
    Missing {
        /// Data row, counting from 1.
        row: usize,
        /// The column.
        column: &'static str,
    },
    /// A state of moist air that cannot be.
    #[error("row {row} of the source: {error}")]
    Air {
        /// Data row, counting from 1.
        row: usize,
        /// What the air room says.
        error: AirError,
    },
}

/// Above this standard airflow a stage-1 point is called `mid`, below it `low`, scfm: the gap between the two humps of the stage's flows.
const LOW_MID_SCFM: f64 = 650.0;

/// The points table.
///
/// # Errors
/// [`TwoStageError`] naming the row.
pub fn points_csv(source: &str) -> Result<String, TwoStageError> {
    let mut reader = csv::Reader::from_reader(source.as_bytes());
    let headings = reader.headers()?.clone();
    let mut out = String::from(
        "run,kind,mode,fan,block,order,intake_temp [degC],intake_rh [%],outlet_temp [degC],outlet_rh [%],ambient_temp [degC],airflow [m3/h],pressure [Pa],power [W]\n",
    );
    for (i, record) in reader.records().enumerate() {
        let record = record?;
        let row = i + 1;
        let text = |column: &'static str| {
            headings
                .iter()
                .position(|h| h == column)
                .and_then(|c| record.get(c))
                .ok_or(TwoStageError::Missing { row, column })
        };
        let number = |column: &'static str| {
            text(column)?
                .parse::<f64>()
                .map_err(|_| TwoStageError::Missing { row, column })
        };
        let air = |error| TwoStageError::Air { row, error };
        let pressure = number("pressure_Pa_as_labelled_inHg")?;
        let intake =
            MoistAir::from_dew_point(number("indoor_db_C")?, number("indoor_dp_C")?, pressure)
                .map_err(air)?;
        let outlet_db = number("supply_db_C")?;
        // Chilled-mirror and dry-bulb readings of nearly saturated air cross by a few tenths.
        let outlet =
            MoistAir::from_dew_point(outlet_db, number("supply_dp_C")?.min(outlet_db), pressure)
                .map_err(air)?;
        // Standard airflow counts the mass of the moist air at 0.075 lb/ft3 (ASHRAE 37, from memory); the collector of the points
        // reads it so too, and so comes to the same capacity.
        let dry_air_kg_s =
            number("airflow_std_m3_s")? * STANDARD_AIR_KG_M3 / (1.0 + outlet.humidity_ratio());
        let flow_m3h = dry_air_kg_s * outlet.volume_m3_kg() * 3600.0;
        let stage = text("stage")?;
        let fan = if stage == "2" {
            "high"
        } else if number("airflow_scfm")? < LOW_MID_SCFM {
            "low"
        } else {
            "mid"
        };
        out.push_str(&format!(
            "p{row:03},cooling,stage {stage},{fan},{},{row},{:.3},{:.2},{:.3},{:.2},{:.3},{flow_m3h:.1},{pressure:.0},{:.1}\n",
            text("file")?,
            intake.temp_c(),
            100.0 * intake.relative_humidity(),
            outlet_db,
            100.0 * outlet.relative_humidity(),
            number("outdoor_db_C")?,
            number("outdoor_unit_power_W")?,
        ));
    }
    Ok(out)
}
