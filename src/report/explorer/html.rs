//! The explorer's form as HTML. Every name from a bench is escaped; ids are the page's own.

use maud::{Markup, PreEscaped, html};

use super::{Explorer, Form};

impl Explorer {
    /// The form, hidden until its script runs, and the table that stands in its place until then.
    pub(in crate::report) fn to_html(&self) -> Markup {
        html! {
            div #explorer hidden {
                p {
                    "The answer is computed in this page from the fitted curves, as the commands "
                    code { "predict" } " and " code { "runtime" } " compute it."
                }
                (self.form.to_html())
                p #ask-answer role="status" {}
                ul #ask-notes {}
                figure #ask-figure {
                    figcaption #ask-caption {}
                    div #ask-picture {}
                    p #ask-key {}
                }
                script #explorer-model type="application/json" { (PreEscaped(&self.model)) }
            }
            div #explorer-without {
                p.on-screen { "With scripts allowed, a form stands here that answers for any setting and conditions. Without them, these are the tested settings at the tested intakes." }
                (self.table.to_html())
            }
        }
    }
}

impl Form {
    fn to_html(&self) -> Markup {
        html! {
            form #ask autocomplete="off" {
                (choice("mode", "Mode", &self.modes, self.first.0))
                (choice("fan", "Fan level", &self.fans, self.first.1))
                (self.degrees("intake", "Intake air", self.intake, &self.intake_tested))
                @if let Some(ambient) = self.ambient {
                    (self.degrees("ambient", "Ambient air", ambient, &self.ambient_tested))
                }
                @if let Some(own) = &self.battery {
                    div.field {
                        label for="ask-battery" { "Battery" }
                        select #ask-battery name="battery" aria-describedby="ask-battery-holds" {
                            option value="own" selected { "the bench’s" }
                            option value="other" { "another" }
                        }
                        small #ask-battery-holds { (own) }
                    }
                }
                fieldset #ask-typed hidden[self.battery.is_some()] {
                    legend { "A battery of" }
                    (amount("ah", "Capacity", "Ah", 100.0, (0.1, 100_000.0)))
                    (amount("volts", "Nominal voltage", "V", self.volts, (1.0, 1000.0)))
                    (amount("usable", "Share used", "%", 100.0, (1.0, 100.0)))
                }
                button type="reset" { "Start again" }
            }
        }
    }

    fn degrees(&self, name: &str, label: &str, value: f64, tested: &str) -> Markup {
        let id = format!("ask-{name}");
        html! {
            div.field {
                label for=(id) { (label) " " span.unit { (self.temperature_sign) } }
                input id=(id) name=(name) type="number" inputmode="decimal" step="any" required
                    min=(self.limits.0) max=(self.limits.1) value=(value) aria-describedby={ (id) "-tested" };
                small id={ (id) "-tested" } { (tested) }
            }
        }
    }
}

/// One of several; a bench with a single one shows it and leaves nothing to choose.
fn choice(name: &str, label: &str, options: &[String], first: usize) -> Markup {
    let id = format!("ask-{name}");
    html! {
        div.field {
            label for=(id) { (label) }
            select id=(id) name=(name) {
                @for (i, option) in options.iter().enumerate() {
                    option value=(i) selected[i == first] {
                        @if option.is_empty() { "the only one" } @else { (option) }
                    }
                }
            }
        }
    }
}

fn amount(name: &str, label: &str, unit: &str, value: f64, (min, max): (f64, f64)) -> Markup {
    let id = format!("ask-{name}");
    html! {
        div.field {
            label for=(id) { (label) " " span.unit { (unit) } }
            input id=(id) name=(name) type="number" inputmode="decimal" step="any" required min=(min) max=(max) value=(value);
        }
    }
}
