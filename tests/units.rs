//! Units, quantities, headings and accuracies as people write them.

use steadydraw::quantity::{
    Accuracy, Dimension, Heading, Split, System, Unit, UnitErrorKind, decimals_for, fixed,
    parse_quantity, significant, to_uncertainty, with_uncertainty,
};

fn read(text: &str, want: Dimension) -> f64 {
    parse_quantity(text, want).unwrap_or_else(|e| panic!("{text}: {e}"))
}

#[test]
fn quantities_are_read_into_base_units() {
    use Dimension as D;
    for (text, want, expected) in [
        ("26.5 degC", D::Temperature, 26.5),
        ("26.5degC", D::Temperature, 26.5),
        ("26.5 \u{b0}C", D::Temperature, 26.5),
        ("212 degF", D::Temperature, 100.0),
        ("-40 F", D::Temperature, -40.0),
        ("273.15 K", D::Temperature, 0.0),
        ("0.4 degC", D::TemperatureDifference, 0.4),
        ("9 degF", D::TemperatureDifference, 5.0),
        ("0.4 K", D::TemperatureDifference, 0.4),
        ("-45 s", D::Time, -45.0),
        ("\u{2212}45 s", D::Time, -45.0),
        ("1.5 h", D::Time, 5400.0),
        ("2e3 mA", D::Current, 2.0),
        ("0.35 kW", D::Power, 350.0),
        ("45 %", D::Fraction, 0.45),
        ("45 % RH", D::Fraction, 0.45),
        ("45%", D::Fraction, 0.45),
        ("0.45 fraction", D::Fraction, 0.45),
        ("80 L/s", D::Flow, 288.0),
        ("0.08 m\u{b3}/s", D::Flow, 288.0),
        ("120 m3 / h", D::Flow, 120.0),
        ("100 fpm", D::Speed, 0.508),
        ("40 m", D::Length, 40.0),
        ("3 mohm", D::Resistance, 0.003),
        ("3 m\u{3a9}", D::Resistance, 0.003),
        ("16 oz", D::Mass, 0.45359237),
        ("120 g/h", D::MassRate, 0.12),
        ("35 mm\u{b2}", D::Area, 35e-6),
        ("1013.25 hPa", D::Pressure, 101_325.0),
        (" .5 V ", D::Voltage, 0.5),
        ("7", D::Number, 7.0),
    ] {
        let got = read(text, want);
        assert!(
            (got - expected).abs() <= 1e-14 * expected.abs(),
            "{text}: {got} instead of {expected}"
        );
    }
}

#[test]
fn what_cannot_be_read_says_where_and_what_was_expected() {
    use Dimension as D;
    for (text, want, message, span) in [
        (
            "",
            D::Power,
            "found nothing, expected a power (W, kW, mW, Btu/h) with its unit",
            0..0,
        ),
        (
            "26.5",
            D::Temperature,
            "found `26.5`, expected a temperature with its unit (degC, degF, K), such as `26.5 degC`",
            0..4,
        ),
        (
            " 26,5 degC",
            D::Temperature,
            "found `26,5`, expected a number with a decimal point and no separators between thousands, such as 1200.5",
            1..5,
        ),
        (
            "26.5 degX",
            D::Temperature,
            "found `degX`, expected a temperature (degC, degF, K); did you mean `degC`?",
            5..9,
        ),
        (
            "12 V",
            D::Current,
            "found `V`, expected a current (A, mA); `V` is a unit of voltage",
            3..4,
        ),
        (
            "warm",
            D::Temperature,
            "found `warm`, expected a number and its unit: a temperature (degC, degF, K)",
            0..4,
        ),
        (
            "1e999 W",
            D::Power,
            "found `1e999`, expected a number of ordinary size (this one is too large to compute with)",
            0..5,
        ),
        (
            "7 W",
            D::Number,
            "found `W`, expected a plain number without a unit",
            2..3,
        ),
    ] {
        let error = parse_quantity(text, want).unwrap_err();
        assert_eq!(error.to_string(), message);
        assert_eq!(error.span, span, "{text}");
    }
    for text in [
        "NaN W", "inf W", "- W", "+ W", ". W", "e5 W", "--5 W", "5 5 W", "\0 W",
    ] {
        assert!(parse_quantity(text, D::Power).is_err(), "{text}");
    }
    // The largest double overflows only on conversion.
    assert!(parse_quantity("1.7e308 kW", D::Power).is_err());
}

#[test]
fn common_spellings_of_units_are_known() {
    for (text, symbol) in [
        ("\u{2103}", "degC"),
        ("deg C", "degC"),
        ("Celsius", "degC"),
        ("m^3/h", "m3/h"),
        ("m\u{b3}/h", "m3/h"),
        ("l/s", "L/s"),
        ("CFM", "cfm"),
        ("ft\u{b3}/min", "cfm"),
        ("FPM", "ft/min"),
        ("BTU/hr", "Btu/h"),
        ("btu/h", "Btu/h"),
        ("VDC", "V"),
        ("amps", "A"),
        ("AH", "Ah"),
        ("KWH", "kWh"),
        ("inhg", "inHg"),
        ("PSI", "psi"),
        ("%RH", "%"),
        ("hr", "h"),
        ("\u{2126}", "ohm"),
    ] {
        assert_eq!(Unit::parse(text).map(|u| u.symbol()), Ok(symbol), "{text}");
    }
    assert!(matches!(
        Unit::parse("  ").unwrap_err().kind,
        UnitErrorKind::Empty
    ));
    let error = Unit::parse("kelvins per fortnight, give or take").unwrap_err();
    assert!(error.to_string().contains("degC, degF, K, W"), "{error}");
}

/// Factors from definitions and NIST SP 811 (2008), appendix B.8: tests/reference/air/conversions.csv.
#[test]
fn conversions_agree_with_their_definitions() {
    let mut reader = csv::Reader::from_path("tests/reference/air/conversions.csv").unwrap();
    let mut factors = std::collections::BTreeMap::new();
    for record in reader.records() {
        let record = record.unwrap();
        factors.insert(record[0].to_owned(), record[2].parse::<f64>().unwrap());
    }
    for (name, text, want, base_per_si) in [
        ("Btu_IT per hour", "1 Btu/h", Dimension::Power, 1.0),
        ("cfm", "1 cfm", Dimension::Flow, 3600.0),
        (
            "inHg (conventional, 0 C)",
            "1 inHg",
            Dimension::Pressure,
            1.0,
        ),
        (
            "inH2O (conventional, 4 C)",
            "1 inH2O",
            Dimension::Pressure,
            1.0,
        ),
        ("mmHg (conventional)", "1 mmHg", Dimension::Pressure, 1.0),
        ("psi", "1 psi", Dimension::Pressure, 1.0),
        ("pound", "1 lb", Dimension::Mass, 1.0),
        (
            "degree Fahrenheit difference",
            "1 degF",
            Dimension::TemperatureDifference,
            1.0,
        ),
        ("ft/min", "1 ft/min", Dimension::Speed, 1.0),
        ("kWh", "1 kWh", Dimension::Energy, 1.0 / 3600.0),
        (
            "standard atmosphere",
            "1013.25 hPa",
            Dimension::Pressure,
            1.0,
        ),
    ] {
        let got = read(text, want);
        let expected = factors[name] * base_per_si;
        assert!(
            (got / expected - 1.0).abs() < 1e-13,
            "{text}: {got}, {expected}"
        );
    }
    let eer = factors["EER (Btu/h/W) to COP"];
    assert!((steadydraw::air::BTU_PER_WH * eer - 1.0).abs() < 1e-13);
    let density = factors["lb/ft3"];
    assert!((steadydraw::air::STANDARD_AIR_KG_M3 - 0.075 * density).abs() < 1e-13);
}

#[test]
fn accuracies_are_read_for_what_is_measured() {
    use Dimension as D;
    for (text, what, relative, absolute) in [
        ("0.5 % of reading + 0.02 A", D::Current, 0.005, 0.02),
        ("0.02 A + 0.5 % of reading", D::Current, 0.005, 0.02),
        ("0.4 degC", D::Temperature, 0.0, 0.4),
        ("0.9 degF", D::Temperature, 0.0, 0.5),
        ("0.4 K", D::TemperatureDifference, 0.0, 0.4),
        ("4 % of reading", D::Flow, 0.04, 0.0),
        ("0.1 % of reading + 2 m3/h", D::Flow, 0.001, 2.0),
        ("2 %", D::Fraction, 0.0, 0.02),
        ("2 % RH", D::Fraction, 0.0, 0.02),
        ("1 % of reading + 2 %", D::Fraction, 0.01, 0.02),
        (
            "\u{b1}0.5 % of reading \u{b1} 20 mA",
            D::Current,
            0.005,
            0.02,
        ),
        ("+/- 0.1 V", D::Voltage, 0.0, 0.1),
        ("1e-1 V", D::Voltage, 0.0, 0.1),
    ] {
        let got = Accuracy::parse(text, what).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert!((got.relative - relative).abs() < 1e-15, "{text}: {got:?}");
        assert!((got.absolute - absolute).abs() < 1e-15, "{text}: {got:?}");
    }
    for (text, what) in [
        ("", D::Current),
        ("2 %", D::Current),
        ("2 % of full scale", D::Current),
        ("0.5 % of reading + 3 digits", D::Voltage),
        ("0.5 % of reading + 0.2 % of reading", D::Current),
        ("0.5 V", D::Current),
        ("-0.5 A", D::Current),
        ("0.5 % of reading - 0.5 A", D::Current),
        ("0.5 % of reading +", D::Current),
        ("0.5", D::Current),
        ("good", D::Current),
    ] {
        let error = Accuracy::parse(text, what).unwrap_err();
        assert!(error.span.end <= text.len(), "{text}: {error:?}");
    }
    let meter = Accuracy::parse("0.5 % of reading + 0.02 A", D::Current).unwrap();
    assert!((meter.limit_at(-20.0) - 0.12).abs() < 1e-15);
    // A rectangular error: JCGM 100:2008, 4.3.7.
    assert!((meter.standard_at(20.0) * 3f64.sqrt() - 0.12).abs() < 1e-15);
}

#[test]
fn headings_split_into_name_and_unit() {
    let heading = Heading::parse("  intake temp [ \u{b0}F ] ").unwrap();
    assert_eq!(heading.name, "intake temp");
    assert_eq!(heading.unit.map(|u| u.symbol()), Some("degF"));
    assert_eq!(heading.unit_span, 16..19);
    assert_eq!(Heading::parse("u_power [W]").unwrap().name, "u_power");
    assert_eq!(Heading::parse("remarks (by hand)").unwrap().unit, None);
    for text in [
        "",
        "temp []",
        "temp [degC",
        "temp degC]",
        "[degC]",
        "temp [degC] x",
        "temp [degCC]",
    ] {
        let error = Heading::parse(text).unwrap_err();
        assert!(error.span.end <= text.len(), "{text}: {error:?}");
    }
    let error = Heading::parse("temp [degR]").unwrap_err();
    assert_eq!(error.span, 6..10);
}

#[test]
fn values_are_rounded_to_their_uncertainty() {
    assert_eq!(
        with_uncertainty(354.234, Some(1.27), "W"),
        "354.2 \u{b1} 1.3 W"
    );
    assert_eq!(
        with_uncertainty(1234.0, Some(320.0), "W"),
        "1230 \u{b1} 320 W"
    );
    assert_eq!(
        with_uncertainty(0.5, Some(0.0996), "1"),
        "0.50 \u{b1} 0.10 1"
    );
    assert_eq!(with_uncertainty(354.234, None, "W"), "354.2 W");
    assert_eq!(to_uncertainty(-0.0004, Some(0.02)), "0.000");
    assert_eq!(to_uncertainty(35.0, Some(f64::NAN)), "35.00");
    assert_eq!(decimals_for(0.0), None);
    assert_eq!(decimals_for(9.96), Some(0));
    assert_eq!(significant(0.012345, 3), "0.0123");
    assert_eq!(significant(99.96, 3), "100");
    assert_eq!(significant(-12345.0, 3), "-12300");
    assert_eq!(significant(0.0, 3), "0");
    assert_eq!(fixed(f64::NAN, 2), "-");
    assert_eq!(fixed(-0.04, 1), "0.0");
    for extreme in [f64::MIN_POSITIVE, 1e-320, f64::MAX, -1e300] {
        assert!(!significant(extreme, 4).is_empty());
        assert!(!to_uncertainty(1.0, Some(extreme.abs())).is_empty());
    }
}

#[test]
fn us_units_are_shown_where_asked() {
    use Dimension as D;
    assert_eq!(System::Us.convert(D::Temperature, 35.0), 95.0);
    assert_eq!(System::Us.convert(D::TemperatureDifference, 5.0), 9.0);
    assert_eq!(System::Us.convert_difference(D::Temperature, 5.0), 9.0);
    assert!((System::Us.convert_capacity(1000.0) - 3412.141633).abs() < 1e-6);
    assert_eq!(System::Us.convert(D::Power, 400.0), 400.0);
    assert_eq!(System::Si.convert(D::Fraction, 0.45), 45.0);
    assert!((System::Us.convert(D::Flow, 169.901079552) - 100.0).abs() < 1e-12);
    assert_eq!(System::Us.symbol(D::Pressure), "inHg");
}

#[test]
fn the_parts_of_an_uncertainty_combine_separately() {
    let u = Split::new(3.0, 1.0).plus(Split::new(4.0, 0.0));
    assert_eq!((u.shared, u.fresh), (5.0, 1.0));
    assert!((u.total() - 26f64.sqrt()).abs() < 1e-15);
    assert_eq!(Split::fresh(2.0).scaled(-1.5), Split::new(0.0, 3.0));
}

/// Text made of pieces that quantities are made of, and of pieces that they are not: never a panic, and every error points at
/// whole characters of the text.
#[test]
fn no_text_can_upset_the_readers() {
    let pieces = [
        "",
        " ",
        "1",
        "26.5",
        "-",
        "\u{2212}",
        "+",
        ".",
        ",",
        "e",
        "E5",
        "%",
        "degC",
        "\u{b0}",
        "\u{3a9}",
        "m",
        "\u{b3}",
        "/h",
        "[",
        "]",
        "of reading",
        "\u{b1}",
        "+/-",
        "1e308",
        "kW",
        "\0",
        "\u{1f600}",
        "\u{2103}",
        "NaN",
        "inf",
        "\t",
        "'",
        "999999999999999999999",
    ];
    let mut state = 1u64;
    let mut next = || {
        // A linear congruential generator (Knuth, MMIX) is random enough to shuffle pieces.
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize
    };
    for _ in 0..15_000 {
        let text: String = (0..next() % 7)
            .map(|_| pieces[next() % pieces.len()])
            .collect();
        let want = [
            Dimension::Temperature,
            Dimension::Power,
            Dimension::Fraction,
            Dimension::Number,
        ][next() % 4];
        let errors = [
            parse_quantity(&text, want)
                .map(|v| assert!(v.is_finite(), "{text}"))
                .err(),
            Accuracy::parse(&text, want)
                .map(|a| assert!(a.relative >= 0.0 && a.absolute >= 0.0, "{text}: {a:?}"))
                .err(),
            Heading::parse(&text)
                .map(|h| assert!(!h.name.is_empty(), "{text}"))
                .err(),
            Unit::parse(&text).map(|_| ()).err(),
        ];
        for error in errors.into_iter().flatten() {
            assert!(
                text.get(error.span.clone()).is_some(),
                "{text:?}: {error:?}"
            );
            assert!(!error.expected.is_empty() && error.to_string().len() < 1000);
        }
    }
}

/// Ten of every unit, in base units. Definitions as in the test above; every unit of the table has its line here.
#[test]
fn every_unit_has_its_size() {
    use Dimension as D;
    let sizes = [
        (D::Temperature, "degC", 10.0),
        (D::Temperature, "degF", -110.0 / 9.0),
        (D::Temperature, "K", -263.15),
        (D::Power, "W", 10.0),
        (D::Power, "kW", 1e4),
        (D::Power, "mW", 0.01),
        (D::Power, "Btu/h", 2.930_710_701_722_2),
        (D::Voltage, "V", 10.0),
        (D::Voltage, "mV", 0.01),
        (D::Current, "A", 10.0),
        (D::Current, "mA", 0.01),
        (D::Charge, "Ah", 10.0),
        (D::Charge, "mAh", 0.01),
        (D::Energy, "Wh", 10.0),
        (D::Energy, "kWh", 1e4),
        (D::Energy, "J", 10.0 / 3600.0),
        (D::Energy, "kJ", 10.0 / 3.6),
        (D::Energy, "MJ", 1e4 / 3.6),
        (D::Speed, "m/s", 10.0),
        (D::Speed, "km/h", 10.0 / 3.6),
        (D::Speed, "ft/min", 0.0508),
        (D::Flow, "m3/h", 10.0),
        (D::Flow, "m3/min", 600.0),
        (D::Flow, "m3/s", 36_000.0),
        (D::Flow, "L/s", 36.0),
        (D::Flow, "L/min", 0.6),
        (D::Flow, "cfm", 16.990_107_955_2),
        (D::Pressure, "Pa", 10.0),
        (D::Pressure, "hPa", 1000.0),
        (D::Pressure, "kPa", 1e4),
        (D::Pressure, "mbar", 1000.0),
        (D::Pressure, "bar", 1e6),
        (D::Pressure, "inHg", 33_863.886_403_41),
        (D::Pressure, "mmHg", 1_333.223_874_15),
        (D::Pressure, "inH2O", 2_490.889_1),
        (D::Pressure, "psi", 68_947.572_931_68),
        (D::Fraction, "%", 0.1),
        (D::Fraction, "1", 10.0),
        (D::Time, "s", 10.0),
        (D::Time, "ms", 0.01),
        (D::Time, "min", 600.0),
        (D::Time, "h", 36_000.0),
        (D::Time, "d", 864_000.0),
        (D::Length, "m", 10.0),
        (D::Length, "cm", 0.1),
        (D::Length, "mm", 0.01),
        (D::Length, "ft", 3.048),
        (D::Length, "in", 0.254),
        (D::Area, "m2", 10.0),
        (D::Area, "cm2", 1e-3),
        (D::Area, "mm2", 1e-5),
        (D::Area, "ft2", 0.929_030_4),
        (D::Area, "in2", 0.006_451_6),
        (D::Mass, "kg", 10.0),
        (D::Mass, "g", 0.01),
        (D::Mass, "lb", 4.535_923_7),
        (D::Mass, "oz", 4.535_923_7 / 16.0),
        (D::MassRate, "kg/h", 10.0),
        (D::MassRate, "g/h", 0.01),
        (D::MassRate, "g/min", 0.6),
        (D::MassRate, "lb/h", 4.535_923_7),
        (D::Resistance, "ohm", 10.0),
        (D::Resistance, "mohm", 0.01),
    ];
    let mut dimensions: Vec<D> = sizes.iter().map(|(d, _, _)| *d).collect();
    dimensions.dedup();
    let listed: Vec<&str> = dimensions.iter().flat_map(|d| d.accepted()).collect();
    assert_eq!(listed, sizes.map(|(_, symbol, _)| symbol));
    for (want, symbol, expected) in sizes {
        let got = read(&format!("10 {symbol}"), want);
        assert!((got / expected - 1.0).abs() < 1e-13, "{symbol}: {got}");
        assert_eq!(Unit::parse(symbol).unwrap().dimension(), want);
    }
}
