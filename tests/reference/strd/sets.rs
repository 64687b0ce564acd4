//! Reads the certified sets and counts agreeing digits.
#![allow(dead_code)]

use std::path::{Path, PathBuf};

use serde_json::Value;

/// A certified set.
pub struct Set {
    pub name: String,
    pub model: String,
    pub columns: Vec<(String, Vec<f64>)>,
    /// Parameter, certified estimate, certified standard deviation (NaN where none is at hand).
    pub certified: Vec<(String, f64, f64)>,
    /// Starts, in the order of `certified`; none for linear sets.
    pub starts: Vec<Vec<f64>>,
    pub residual_ss: Option<f64>,
    pub residual_sd: Option<f64>,
    pub residual_df: usize,
    /// Share of variation explained, with whether it is about the mean.
    pub r_squared: Option<(f64, bool)>,
    pub f_statistic: Option<f64>,
    /// Whether data and certified values were written down from memory.
    pub from_memory: bool,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/strd")
}

fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text
            .replace("E+0", "E")
            .parse()
            .unwrap_or_else(|_| panic!("{text}")),
        other => other.as_f64().unwrap_or_else(|| panic!("{other}")),
    }
}

/// All sets of a kind, by name.
pub fn all(linear: bool) -> Vec<Set> {
    let entries = |path: PathBuf| std::fs::read_dir(path).unwrap();
    let mut files: Vec<PathBuf> = entries(folder())
        .chain(entries(folder().join("from-memory")))
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    files.sort();
    let kind = if linear {
        "linear least squares"
    } else {
        "nonlinear least squares"
    };
    files.iter().filter_map(|path| read(path, kind)).collect()
}

/// The set in a file, if it is of this kind.
fn read(path: &Path, kind: &str) -> Option<Set> {
    let text = std::fs::read_to_string(path).unwrap();
    let json: Value = serde_json::from_str(&text).unwrap();
    if json["kind"] != kind {
        return None;
    }
    let word = |key: &str| json[key].as_str().unwrap().to_owned();
    let columns = json["data"].as_object().unwrap().iter();
    let columns = columns.map(|(name, v)| {
        (
            name.clone(),
            v.as_array().unwrap().iter().map(number).collect(),
        )
    });
    let certified = &json["certified"];
    let parameters = certified["parameters"].as_object().unwrap();
    let set = Set {
        name: word("name"),
        model: word("model"),
        columns: columns.collect(),
        certified: parameters
            .iter()
            .map(|(name, v)| {
                (
                    name.clone(),
                    number(&v["estimate"]),
                    v.get("sd").map_or(f64::NAN, number),
                )
            })
            .collect(),
        starts: ["start1", "start2"]
            .iter()
            .filter_map(|key| json.get(key))
            .map(|start| parameters.keys().map(|name| number(&start[name])).collect())
            .collect(),
        residual_ss: certified.get("residual_ss").map(number),
        residual_sd: certified.get("residual_sd").map(number),
        residual_df: number(&certified["residual_df"]) as usize,
        r_squared: certified
            .get("r_squared")
            .map(|v| (number(v), certified["r_squared_basis"] == "about the mean")),
        f_statistic: certified
            .get("f_statistic")
            .and_then(|v| v.as_str())
            .and_then(|v| v.parse().ok())
            .filter(|f: &f64| f.is_finite()),
        from_memory: word("source").contains("from memory"),
    };
    Some(set)
}

impl Set {
    pub fn column(&self, name: &str) -> &[f64] {
        &self.columns.iter().find(|(n, _)| n == name).unwrap().1
    }

    /// The set as a CSV file.
    pub fn csv(&self) -> String {
        let names: Vec<&str> = self.columns.iter().map(|(n, _)| n.as_str()).collect();
        let mut text = names.join(",") + "\n";
        for row in 0..self.columns[0].1.len() {
            let cells: Vec<String> = self
                .columns
                .iter()
                .map(|(_, v)| v[row].to_string())
                .collect();
            text += &(cells.join(",") + "\n");
        }
        text
    }
}

/// Agreeing decimal digits, −log10 of the relative difference, at most 16. A certified zero is compared with `scale`.
pub fn digits(found: f64, certified: f64, scale: f64) -> f64 {
    let size = if certified == 0.0 {
        scale.abs()
    } else {
        certified.abs()
    };
    let difference = (found - certified).abs() / size;
    // NaN must count as no digit at all.
    if difference.is_nan() {
        0.0
    } else {
        (-difference.log10()).clamp(0.0, 16.0)
    }
}
