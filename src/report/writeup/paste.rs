//! The fitted equations for the workbook and for a paper.

use super::Results;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{CapacityKind, Equation, VARIABLES};
use crate::report::words::visible;
use crate::report::workbook::Equations;

/// The most credible curves' equations, at the conditions at which settings are compared.
pub fn equations(r: &Results<'_>) -> Equations {
    let data = &r.draw.data;
    let of = |fit: &DrawFit| -> Vec<Equation> {
        let best = fit.best();
        best.form.equations(&fit.data, &best.fit.coef)
    };
    let mut list: Vec<(String, Equation)> = of(r.draw)
        .into_iter()
        .map(|e| ("draw [W]".to_owned(), e))
        .collect();
    if let Ok((kind, fit)) = &r.capacity {
        let name = match kind {
            CapacityKind::Total => "total cooling [W]",
            CapacityKind::Sensible => "sensible cooling [W]",
        };
        list.extend(of(fit).into_iter().map(|e| (name.to_owned(), e)));
    }
    let flows: Vec<f64> = data.levels.iter().filter_map(|l| l.flow).collect();
    let flow_m3h = match flows.len() {
        0 => 0.0,
        n => flows.get(n / 2).copied().unwrap_or_default().round(),
    };
    Equations {
        list,
        intake_c: data.intake_ref,
        ambient_c: data.ambient_ref,
        flow_m3h,
    }
}

/// The equations in LaTeX, a line each with what it is for.
pub(super) fn latex(equations: &Equations) -> String {
    let symbols: Vec<String> = VARIABLES
        .iter()
        .map(|v| format!("% {}: {}", v.symbol, v.words))
        .collect();
    let mut text = format!(
        "% Fitted curves: the most credible ones alone, without their intervals, for conditions inside the tested range.\n% P: draw, W; \\dot{{Q}}: cooling, W\n{}\n",
        symbols.join("\n")
    );
    for (of, e) in &equations.list {
        let Some(equation) = e.latex() else { continue };
        let modes = if e.modes.is_empty() {
            String::new()
        } else {
            format!("{}, ", e.modes)
        };
        let what = format!("{of}: {modes}fan {}", e.fan);
        text.push_str(&format!("\n% {}\n\\[ {equation} \\]\n", visible(&what)));
    }
    text
}
