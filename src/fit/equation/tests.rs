//! Reading and evaluating equations.

use super::*;

/// The right side at one row where `x` is given, with parameters in order of appearance.
fn at(text: &str, x: f64, parameters: &[f64]) -> f64 {
    let curve = curve(text);
    let data: Vec<[f64; 1]> = curve
        .columns()
        .iter()
        .map(|c| if c == "y" { [0.0] } else { [x] })
        .collect();
    curve.right_values(parameters, &data, 1)[0]
}

fn curve(text: &str) -> Curve {
    Equation::parse(text)
        .unwrap()
        .with_columns(&["x".to_owned(), "y".to_owned()])
        .unwrap()
}

fn refused(text: &str) -> (String, usize) {
    let error = match Equation::parse(text) {
        Err(error) => error,
        Ok(equation) => equation
            .with_columns(&["x".to_owned(), "y".to_owned()])
            .unwrap_err(),
    };
    (error.problem.to_string(), error.column())
}

#[test]
fn precedence_is_that_of_plain_algebra() {
    let values = [
        ("y = a - x^2", 3.0, -9.0),
        ("y = a + -x^2", 3.0, -9.0),
        ("y = a + 2^3^2", 0.0, 512.0),
        ("y = a + 2^-x", 1.0, 0.5),
        ("y = a + 2^-x^2", 2.0, 0.0625),
        ("y = a + 2^-1*8", 0.0, 4.0),
        ("y = a + 8/4/2", 0.0, 1.0),
        ("y = a + 8-4-2", 0.0, 2.0),
        ("y = a + 2+3*4", 0.0, 14.0),
        ("y = a + (2+3)*4", 0.0, 20.0),
        ("y = a + 6*-x", 2.0, -12.0),
        ("y = a - -x", 2.0, 2.0),
        ("y = a + --x + +x", 2.0, 4.0),
        ("y = a + 1e-3*x", 2.0, 0.002),
        ("y = a + 1.5E+2*x", 2.0, 300.0),
        ("y = a + .5*x + 2.", 2.0, 3.0),
        ("y = a + (-2)^3", 0.0, -8.0),
        ("y = a + x^-2", 2.0, 0.25),
        ("y = a + x^0.5", 9.0, 3.0),
        ("y = a + x^(1/2)", 9.0, 3.0),
        ("y = a + min(x, 3) + max(x, 3)", 5.0, 8.0),
        ("y = a + log(x) - ln(x) + log10(x)", 100.0, 2.0),
        ("y = a + sqrt(x)*abs(-x)", 4.0, 8.0),
        ("y = a + 4*atan(x) - pi", 1.0, 0.0),
        ("y = a + sin(pi/2) + cos(0*x) + tan(0)", 1.0, 2.0),
        ("y=a+exp(x)", 0.0, 1.0),
    ];
    for (text, x, expected) in values {
        let found = at(text, x, &[0.0]);
        assert!(
            (found - expected).abs() < 1e-14,
            "{text}: {found}, not {expected}"
        );
    }
}

#[test]
fn names_are_sorted_into_columns_and_parameters() {
    let curve = curve("log(y) = b1 - b2*x*exp(-b3*x)");
    assert_eq!(
        (curve.columns(), curve.parameters()),
        (
            &["y".into(), "x".into()][..],
            &["b1".into(), "b2".into(), "b3".into()][..]
        )
    );
    assert_eq!(
        (curve.left_text(), curve.right_columns()),
        ("log(y)", vec!["x"])
    );
    let left: Vec<f64> = curve.left_values(&[[1f64.exp()], [0.0]], 1);
    assert!((left[0] - 1.0).abs() < 1e-15);
}

#[test]
fn parameters_that_enter_linearly_are_found() {
    let linear = |text: &str| -> String {
        let curve = curve(text);
        curve
            .parameters()
            .iter()
            .zip(curve.linear_parameters())
            .filter(|(_, l)| **l)
            .map(|(p, _)| p.as_str())
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(linear("y = a + b*x + c*x^2 - d*log(x)/3"), "a b c d");
    assert_eq!(linear("y = -(a + b*x)*2 + (c - 3)^1"), "a b c");
    assert_eq!(linear("y = a*(1 - exp(-b*x))"), "a");
    assert_eq!(linear("y = a*b*x"), "a");
    assert_eq!(linear("y = a/b + c*x"), "a c");
    assert_eq!(linear("y = a*x^b + c*x^d"), "a c");
    assert_eq!(linear("y = abs(a) + max(b, x) + c^2 + c + d*d + e"), "e");
    // Two products share a: with b and c linear there is one more than with a.
    assert_eq!(linear("y = a*b*x + a*c"), "b c");
    assert!(curve("y = a*x + b").is_linear() && !curve("y = x^b").is_linear());
}

#[test]
fn values_are_put_in_place_of_parameters() {
    let curve = curve("y = b1*(1 - exp(-b2*x)) + b1");
    let values = ["238.9".to_owned(), "-5.5e-4".to_owned()];
    let text = curve.with_values(&values);
    assert_eq!(text, "y = 238.9*(1 - exp(-(-5.5e-4)*x)) + 238.9");
    // What is pasted means the same.
    let pasted = at(&format!("{text} + q"), 10.0, &[0.0]);
    assert_eq!(pasted, at(curve.text(), 10.0, &[238.9, -5.5e-4]));
}

#[test]
fn derivatives_agree_with_differences_also_beyond_eight_parameters() {
    let text = "y = a*exp(-b*x) + c*x^d + sqrt(e + x)*sin(f*x) + atan(g*x)/cos(h) + log(i + x) \
                + log10(j*x) + tan(k*x)*min(l, x) + max(m, x)*abs(n - x) + (o*x)^3 - p^-2 + 2^q";
    let curve = curve(text);
    let x = [0.3, 0.7, 1.1];
    let data: Vec<&[f64]> = curve.columns().iter().map(|_| &x[..]).collect();
    let p = curve.parameters().len();
    assert_eq!(p, 17);
    let at: Vec<f64> = (0..p).map(|i| 0.4 + 0.05 * i as f64).collect();
    let on_data = curve.on_data(&data, 3);
    let (mut values, mut jacobian) = (vec![0.0; 3], vec![0.0; 3 * p]);
    on_data.with_derivatives(&at, &mut values, &mut jacobian);
    let plain: Vec<f64> = curve.right_values(&at, &data, 3);
    for j in 0..p {
        let moved = |by: f64| -> Vec<f64> {
            let mut at = at.clone();
            at[j] += by;
            curve.right_values(&at, &data, 3)
        };
        let (up, down) = (moved(1e-5), moved(-1e-5));
        for row in 0..3 {
            let difference = (up[row] - down[row]) / 2e-5;
            let exact = jacobian[j * 3 + row];
            assert!(
                (difference - exact).abs() < 1e-7 * (1.0 + exact.abs()),
                "{j} {row}: {difference} {exact}"
            );
            assert!((values[row] - plain[row]).abs() < 1e-14);
        }
    }
}

#[test]
fn a_power_at_zero_has_finite_derivatives() {
    let curve = curve("y = a*x^b");
    let data = [[0.0, 4.0], [0.0, 0.0]];
    let data: Vec<&[f64]> = curve
        .columns()
        .iter()
        .map(|c| &data[usize::from(c == "y")][..])
        .collect();
    let (mut values, mut jacobian) = ([0.0; 2], [0.0; 4]);
    curve
        .on_data(&data, 2)
        .with_derivatives(&[2.0, 1.5], &mut values, &mut jacobian);
    assert_eq!(values, [0.0, 16.0]);
    assert_eq!((jacobian[0], jacobian[1], jacobian[2]), (0.0, 8.0, 0.0));
    // 0^b is 1 at b = 0 and 0 beside it: no slope there.
    curve
        .on_data(&data, 2)
        .with_derivatives(&[2.0, 0.0], &mut values, &mut jacobian);
    assert!(values == [2.0, 2.0] && !jacobian[2].is_finite());
}

#[test]
fn a_root_of_nothing_has_a_slope_of_zero_where_nothing_moves_it() {
    // √(a·x) at x = 0 is 0 whatever a is; at x = 4, a = 4 its slope in a is x / (2 √16) = 0.5.
    let curve = curve("y = sqrt(a*x) + sqrt(x)");
    let data = [[0.0, 4.0], [0.0, 0.0]];
    let data: Vec<&[f64]> = curve
        .columns()
        .iter()
        .map(|c| &data[usize::from(c == "y")][..])
        .collect();
    let (mut values, mut jacobian) = ([0.0; 2], [0.0; 2]);
    curve
        .on_data(&data, 2)
        .with_derivatives(&[4.0], &mut values, &mut jacobian);
    assert_eq!(values, [0.0, 6.0]);
    assert_eq!(jacobian, [0.0, 0.5]);
}

#[test]
fn a_long_block_of_rows_is_computed_as_single_rows_are() {
    let curve = curve("y = a*(1 - exp(-b*x))/(1 + c*x*x) + x*(2 - x)");
    let x: Vec<f64> = (0..1000).map(|i| f64::from(i) / 100.0).collect();
    let data: Vec<&[f64]> = curve.columns().iter().map(|_| &x[..]).collect();
    let mut seen = 0;
    curve
        .on_data(&data, 1000)
        .values(&[2.0, 0.3, 0.1], |row, value| {
            let x = x[row];
            assert_eq!(
                value,
                2.0 * (1.0 - (-0.3 * x).exp()) / (1.0 + 0.1 * x * x) + x * (2.0 - x)
            );
            seen += 1;
        });
    assert_eq!(seen, 1000);
}

#[test]
fn doubled_precision_powers_keep_thirty_digits() {
    use crate::fit::DoubleDouble;
    let curve = curve("y = a*x^10");
    let data: Vec<[f64; 1]> = curve.columns().iter().map(|_| [3.1]).collect();
    let one = <DoubleDouble as Scalar>::constant(1.0);
    let power = curve.right_values(&[one], &data, 1)[0];
    let product = (0..10).fold(one, |product, _| product * DoubleDouble::constant(3.1));
    assert!((power - product).value().abs() < 1e-25 && power.parts().1 != 0.0);
}

#[test]
fn messages_point_at_the_character() {
    let expected = [
        (
            "y = 2x",
            "an operator is missing before `x`; write `*` to multiply",
            6,
        ),
        (
            "y = a + ",
            "expected a number, a name or `(`, found the end of the equation",
            9,
        ),
        ("y = (a + x", "this bracket is never closed", 5),
        (
            "y = a + x)",
            "expected an operator or the end, found `)`",
            10,
        ),
        (
            "y = a ** 2",
            "`*` has no meaning here; write `^` for a power",
            7,
        ),
        (
            "y = a × x",
            "`×` has no meaning here; write `*` to multiply",
            7,
        ),
        (
            "a*x",
            "an equation needs `=`: the measured column on its left, the curve on its right, as in `y = a + b*x`",
            4,
        ),
        ("y = a = x", "an equation has one `=`; this is another", 7),
        (
            "y = exp x",
            "`exp` is a function and needs brackets, as in `exp(x)`",
            5,
        ),
        ("y = exp(a, x)", "`exp` takes 1 argument, found 2", 5),
        ("y = a*max(x)", "`max` takes 2 arguments, found 1", 7),
        ("y = a*exp()", "`exp` takes 1 argument, found 0", 7),
        (
            "y = a(x + 1)",
            "`a` is not a function; there are exp, ln, log, log10, sqrt, sin, cos, tan, atan, abs, min, max",
            5,
        ),
        (
            "y = a*Exp(x)",
            "`Exp` is not a function; there are exp, ln, log, log10, sqrt, sin, cos, tan, atan, abs, min, max; did you mean `exp`?",
            7,
        ),
        (
            "y = x*(a + x(3))",
            "an operator is missing before `(`; write `*` to multiply",
            13,
        ),
        ("y = 1e999*a", "`1e999` is not a number that can be used", 5),
        ("y = a + .", "`.` is not a number that can be used", 9),
        (
            "y = 1.2.3*a",
            "an operator is missing before `.3`; write `*` to multiply",
            8,
        ),
        (
            "y = 2ex",
            "an operator is missing before `ex`; write `*` to multiply",
            6,
        ),
        (
            "y = 2e+x",
            "an operator is missing before `e`; write `*` to multiply",
            6,
        ),
        (
            "y = a + )",
            "expected a number, a name or `(`, found `)`",
            9,
        ),
        (
            "y = arctan(x)",
            "`arctan` is not a function; there are exp, ln, log, log10, sqrt, sin, cos, tan, atan, abs, min, max; did you mean `atan`?",
            5,
        ),
        ("y = a*x,2", "expected an operator or the end, found `,`", 8),
        (
            "",
            "expected a number, a name or `(`, found the end of the equation",
            1,
        ),
        (
            "yy = a*x",
            "`yy` stands on the left side but is not a column; the columns are x, y; did you mean `y`?",
            1,
        ),
        ("3 = a*x", "the left side must hold the measured column", 1),
        (
            "y = 2*x",
            "nothing to fit: every name on the right side is a column; names that are not columns are the parameters",
            4,
        ),
    ];
    for (text, message, column) in expected {
        assert_eq!(refused(text), (message.to_owned(), column), "{text}");
    }
    let error = Equation::parse("y = a × x").unwrap_err();
    assert_eq!(error.picture(), "y = a × x\n      ^");
    // One mark for one character, two for two.
    let pictured = |text: &str| Equation::parse(text).unwrap_err().picture();
    assert_eq!(pictured("y = a × x + b"), "y = a × x + b\n      ^");
    assert_eq!(pictured("y = a ** x"), "y = a ** x\n      ^^");
}

#[test]
fn hostile_texts_are_refused_at_once() {
    for text in [
        "y = ".to_owned() + &"(".repeat(5000),
        "y = ".to_owned() + &"sin(".repeat(2000) + "x",
        "y = a".to_owned() + &"^a".repeat(4000),
        "y = ".to_owned() + &"x+".repeat(20_000),
        "y = ".to_owned() + &"é".repeat(20_000),
        "y = ".to_owned() + &(0..200).map(|i| format!("+ p{i}")).collect::<String>(),
    ] {
        let error = Equation::parse(&text).unwrap_err();
        assert!(error.picture().lines().count() == 2);
    }
    // Long but flat, and many signs: no depth is used.
    assert!(Equation::parse(&("y = a".to_owned() + &"+x".repeat(4900))).is_ok());
    assert!(Equation::parse(&("y = ".to_owned() + &"-".repeat(9000) + "a")).is_ok());
}

#[test]
fn no_text_makes_it_panic() {
    // A fixed stream of words, joined at random (xorshift; Marsaglia 2003).
    let words = [
        "y", "x", "a", "b", "=", "+", "-", "*", "/", "^", "(", ")", ",", "exp", "max", "1e", "2.5",
        ".", "é", " ", "1e-3", "pi", "=", "−",
    ];
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut read = 0;
    for round in 0..20_000 {
        let mut text = if round % 2 == 0 {
            String::new()
        } else {
            "y = a".to_owned()
        };
        for _ in 0..8 {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            text += words[(state % words.len() as u64) as usize];
        }
        match Equation::parse(&text) {
            Err(error) => assert!(!error.picture().is_empty()),
            Ok(equation) => {
                if let Ok(curve) = equation.with_columns(&["x".to_owned(), "y".to_owned()]) {
                    let data: Vec<[f64; 1]> = curve.columns().iter().map(|_| [0.5]).collect();
                    let values: Vec<f64> =
                        curve.right_values(&vec![0.7; curve.parameters().len()], &data, 1);
                    read += values.len();
                }
            }
        }
    }
    assert!(read > 20, "{read}");
}

#[test]
fn a_right_side_is_valued_by_its_last_part() {
    // 2 × 5 + 3 and 5 − 2^3, and a right side that stands on the left as well.
    let value = |text: &str| Equation::parse(text).unwrap().value(|_| 5.0);
    assert_eq!(value("y = 2*x + 3"), 13.0);
    assert_eq!(value("y = x - 2^3"), -3.0);
    assert_eq!(value("2*y = y"), 5.0);
}

#[test]
fn a_name_like_a_columns_is_offered_within_a_quarter_of_its_letters_and_one() {
    let near = |name: &str, columns: &[&str]| {
        let columns: Vec<String> = columns.iter().map(|c| (*c).to_owned()).collect();
        let read = Equation::parse(&format!("{name} = a")).unwrap();
        match read.with_columns(&columns).unwrap_err().problem {
            EquationProblem::LeftNotAColumn { near, .. } => near,
            other => panic!("{other}"),
        }
    };
    // Of three letters one may differ, of eight three.
    assert_eq!(near("pow", &["w"]), None);
    assert_eq!(near("pow", &["po"]).as_deref(), Some("po"));
    assert_eq!(
        near("capacity", &["cap_city_w"]).as_deref(),
        Some("cap_city_w")
    );
    assert_eq!(near("capacity", &["cap_city_kw"]), None);
}

#[test]
fn equal_parts_are_kept_once_and_others_apart() {
    // A sum of the first part with itself, and the number nought.
    let curve = curve("y + y = a*x + 0");
    let data = [[4.0], [3.0]];
    assert_eq!(curve.left_values::<f64, _>(&data, 1), [8.0]);
    assert_eq!(curve.right_values::<f64, _>(&[2.0], &data, 1), [6.0]);
}

#[test]
fn brackets_side_by_side_are_no_deeper_than_one() {
    let text = format!("y = a{}", " + (x)".repeat(2 * DEPTH_LIMIT));
    assert_eq!(at(&text, 1.5, &[1.0]), 1.0 + 3.0 * DEPTH_LIMIT as f64);
}

#[test]
fn the_word_at_fault_decides_what_is_said_of_it_not_the_next() {
    let (said, column) = refused("y ) x = a");
    assert_eq!(column, 3);
    assert!(
        said.contains("`)`") && said.contains("an operator or `=`"),
        "{said}"
    );
    // A bracket after a number or a parameter opens a factor, whatever stands in it.
    assert_eq!(refused("y = a + pi(-x)"), refused("y = a + pi(x)"));
    assert!(refused("y = a + pi(-x)").0 != said);
}

#[test]
fn a_curve_without_all_its_parameters_has_no_values() {
    let curve = curve("y = a + b*x");
    let data = [[0.0], [2.0]];
    assert_eq!(curve.right_values::<f64, _>(&[1.0, 3.0], &data, 1), [7.0]);
    assert!(curve.right_values::<f64, _>(&[1.0], &data, 1).is_empty());
    assert!(
        curve
            .right_values::<f64, _>(&[1.0, 3.0], &data[..1], 1)
            .is_empty()
    );
}
