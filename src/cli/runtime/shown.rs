//! What `runtime` says, in words and as JSON.

use serde_json::{Value, json};

use super::Shown;
use crate::cli::settings::fan_json;
use crate::cli::words::Words;
use crate::cli::{Answer, Common};
use crate::predict::{Support, ambient_caution, prediction_notes};
use crate::quantity::System;
use crate::report::supply_tables::{day_sentences, day_table, runtime_table};
use crate::supply::cautions::{largest_asked, of_supply};
use crate::supply::day::Day;
use crate::supply::notes::runtime_notes;
use crate::supply::runtime::{RuntimeRow, Span};

impl Shown<'_> {
    /// The answer.
    pub(super) fn answer(&self, demo_note: Option<&str>, common: &Common) -> Answer {
        let mut words = Words::start(&self.bench.title, demo_note);
        words.table(&runtime_table(
            &self.fit.data,
            &self.rows,
            self.ambient_known,
            common.system(),
            common.level,
        ));
        if let Some(day) = &self.day {
            words.heading("The day");
            for sentence in day_sentences(day, common.level, common.system()) {
                words.paragraph(&sentence);
            }
            words.table(&day_table(day, common.system(), common.level));
        }
        words.notes(&self.notes(common.system()), common.quiet);
        words.heading("Cautions");
        for caution in self.cautions(common.system()) {
            words.item(&caution);
        }
        if !self.written.is_empty() {
            let list: Vec<String> = self
                .written
                .iter()
                .map(|p| p.display().to_string())
                .collect();
            words.gap();
            words.paragraph(&format!("Written: {}.", list.join(", ")));
        }
        let mut notes: Vec<String> = demo_note.map(str::to_owned).into_iter().collect();
        notes.extend(self.notes(System::Si));
        Answer {
            words: words.finish(),
            json: self.json(&notes, &self.cautions(System::Si), common.level),
        }
    }

    fn notes(&self, system: System) -> Vec<String> {
        let mut notes = runtime_notes(self.bench, &self.supply, system);
        if let Some(tested) = &self.supply.tested {
            notes.extend(tested.notes());
        }
        let warmest = |rows: &[RuntimeRow]| {
            rows.iter()
                .map(|r| r.draw.at.intake)
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let mut add = |list: Vec<String>| {
            for note in list {
                if !notes.contains(&note) {
                    notes.push(note);
                }
            }
        };
        let data = &self.fit.data;
        add(ambient_caution(
            data,
            self.ambient_asked,
            warmest(&self.rows),
            system,
        ));
        for row in &self.rows {
            add(prediction_notes(data, &row.draw, system));
        }
        if let Some(day) = &self.day {
            add(day.notes.clone());
            if let Some(p) = &day.furthest {
                let list = prediction_notes(data, p, system);
                add(list
                    .into_iter()
                    .map(|n| format!("In the day: {n}"))
                    .collect());
            }
            let of_day = ambient_caution(data, day.ambient_asked_c, day.warmest_intake_c, system);
            add(of_day
                .into_iter()
                .filter(|n| !n.starts_with("No ambient was asked for"))
                .collect());
        }
        notes
    }

    fn cautions(&self, system: System) -> Vec<String> {
        let asked = largest_asked(self.fit, &self.rows, self.day.as_ref(), system);
        of_supply(
            &self.bench.supply,
            asked.as_ref(),
            self.day.as_ref(),
            system,
        )
    }

    fn json(&self, notes: &[String], cautions: &[String], level: f64) -> Value {
        let s = &self.supply;
        json!({
            "schema": 1,
            "command": "runtime",
            "bench": self.bench.title,
            "level": level,
            "rows": self.rows.iter().map(|r| self.row_json(r)).collect::<Vec<_>>(),
            "battery": s.holds.as_ref().map(|h| json!({
                "energy_wh": h.energy_wh,
                "energy_low_wh": h.energy_wh * (1.0 - h.half),
                "energy_high_wh": h.energy_wh * (1.0 + h.half),
                "usable": h.usable,
                "measured": h.measured,
                "peukert": h.peukert.map(|p| p.0),
            })),
            "supply": {
                "voltage_v": s.chain.volts,
                "nominal_v": s.nominal_v,
                "cable_ohm": s.chain.ohm,
                "converter_efficiency": s.chain.efficiency,
                "converter_idle_w": s.chain.idle_w,
            },
            "day": self.day.as_ref().map(day_json),
            "written": self.written.iter().map(|p| p.display().to_string()).collect::<Vec<_>>(),
            "cautions": cautions,
            "notes": notes,
        })
    }

    fn row_json(&self, r: &RuntimeRow) -> Value {
        let p = &r.draw;
        let data = &self.fit.data;
        // With no battery stated, the hours are those of every 100 Ah.
        let hours = r.hours.unwrap_or(r.per_100ah);
        let span = |s: &Span| json!({ "value": s.value, "low": s.low, "high": s.high });
        json!({
            "mode": data.modes.get(p.at.mode),
            "fan": fan_json(data, p.at.level),
            "intake_c": p.at.intake,
            "ambient_c": self.ambient_known.then_some(p.at.ambient),
            "draw_w": p.draw_w,
            "draw_low_w": p.mean_w.0,
            "draw_high_w": p.mean_w.1,
            "battery_w": r.battery.power_w,
            "current_a": r.battery.current_a,
            "current_empty_a": r.empty_a,
            "cable_loss_w": r.battery.cable_w,
            "converter_loss_w": r.battery.converter_w,
            "hours": hours.value,
            "hours_low": hours.low,
            "hours_high": hours.high,
            "hours_for": if r.hours.is_some() { "battery" } else { "100 Ah" },
            "per_100ah": span(&r.per_100ah),
            "support": match p.support {
                Support::Inside => "inside",
                Support::Outside => "outside",
            },
            "notes": prediction_notes(data, p, System::Si),
        })
    }
}

fn day_json(day: &Day) -> Value {
    let played = day.played.as_ref();
    let charge = |k: usize| played.and_then(|p| p.charge.get(k).copied());
    let last = charge(day.hours.len().saturating_sub(1));
    json!({
        "energy_wh": day.energy_wh.value,
        "energy_low_wh": day.energy_wh.low,
        "energy_high_wh": day.energy_wh.high,
        "charge_wh": day.charge_wh,
        "usable_wh": day.usable_wh,
        "end_charge": last.map(|c| c.0),
        "end_charge_low": last.map(|c| c.1),
        "end_charge_high": last.map(|c| c.2),
        "empty_h": played.and_then(|p| p.empty_h),
        "empty_earliest_h": played.and_then(|p| p.empty_between.0),
        "empty_latest_h": played.and_then(|p| p.empty_between.1),
        "chance_empty": played.map(|p| p.chance_empty),
        "unmet_wh": played.map(|p| p.unmet_wh),
        "spilled_wh": played.map(|p| p.spilled_wh),
        "largest_current_a": day.largest_a,
        "cannot_hold": day.cannot_hold.iter().map(|(clock_h, load_w, capacity_w)| json!({
            "clock_h": clock_h, "load_w": load_w, "capacity_w": capacity_w,
        })).collect::<Vec<_>>(),
        "hours": day.hours.iter().enumerate().map(|(k, h)| json!({
            "clock_h": h.clock_h,
            "ambient_c": h.ambient_c,
            "intake_c": h.intake_c,
            "used": h.used,
            "duty": h.duty,
            "load_w": h.load_w,
            "capacity_w": h.capacity_w,
            "battery_w": h.battery_w,
            "charging_w": h.charging_w,
            "charge": charge(k).map(|c| c.0),
            "charge_low": charge(k).map(|c| c.1),
            "charge_high": charge(k).map(|c| c.2),
        })).collect::<Vec<_>>(),
    })
}
