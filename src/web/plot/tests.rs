use plotters::coord::ranged1d::Ranged;

use super::{Axis, Curves, Mark, Row, Rows, Series, axis::number};

fn curves(points: Vec<(f64, f64)>) -> String {
    let curves = Curves {
        title: "Rise <of> it",
        description: "What \"it\" shows & says",
        across: Axis::linear("Time in s", points.iter().map(|p| p.0)).expect("an axis"),
        up: Axis::decades("Pressure in Torr", points.iter().map(|p| p.1)).expect("an axis"),
        series: [
            Mark::Dots,
            Mark::Circles,
            Mark::Line,
            Mark::Dashes,
            Mark::Stems,
        ]
        .into_iter()
        .map(|mark| Series {
            name: "a <b> & \"c\"".to_owned(),
            mark,
            points: points.clone(),
        })
        .collect(),
    };
    curves.draw().expect("a drawing").0
}

#[test]
fn a_drawing_scales_names_itself_and_holds_no_styles() {
    let svg = curves(
        (0..200)
            .map(|n| (f64::from(n), 1e-6 * f64::from(n + 1)))
            .collect(),
    );
    assert!(svg.starts_with("<svg") && svg.ends_with("</svg>"));
    assert!(svg.contains("viewBox=\"0 0 420") && svg.contains("class=\"phone\""));
    assert!(svg.contains("viewBox=\"0 0 1000") && svg.contains("class=\"desk\""));
    assert!(svg.contains("<title>Rise &lt;of&gt; it</title>"));
    assert!(svg.contains("<desc>What &quot;it&quot; shows &amp; says</desc>"));
    assert!(svg.contains("Time in s") && svg.contains("Pressure in Torr"));
    assert!(svg.contains("10⁻⁵"));
    for banned in ["style=", "<script", "NaN", "inf", "a <b>"] {
        assert!(!svg.contains(banned), "{banned} in {svg}");
    }
}

#[test]
fn values_that_no_axis_takes_are_left_out_and_not_drawn_as_nonsense() {
    let svg = curves(vec![
        (0.0, 1e-6),
        (1.0, 0.0),
        (2.0, -1.0),
        (3.0, f64::NAN),
        (f64::INFINITY, 1e-6),
        (4.0, 2e-6),
    ]);
    assert!(!svg.contains("NaN") && !svg.contains("inf"));
    assert!(Axis::decades("x", [0.0, -1.0, f64::NAN]).is_none());
    assert!(Axis::linear("x", []).is_none());
    let one = curves(vec![(5.0, 1e-6)]);
    assert!(one.contains("<circle"));
}

#[test]
fn rows_show_ranges_that_reach_down_to_nothing() {
    let rows = |rows: Vec<Row>| {
        Rows {
            title: "t",
            description: "d",
            axis: "Gas load in mbar·L/s",
            rows,
        }
        .draw()
        .expect("a drawing")
    };
    let svg = rows(vec![
        Row::value("healthy", 1e-5),
        Row::range("extra", Some(1e-4), 0.0, 3e-4),
    ])
    .expect("amounts above zero")
    .0;
    assert!(svg.contains("healthy") && svg.contains("extra"));
    assert!(!svg.contains("NaN") && !svg.contains("inf"));
    assert!(rows(vec![Row::value("nothing", 0.0)]).is_none());
}

#[test]
fn ticks_are_round_and_few() {
    for (low, high) in [(0.0, 600.0), (1e-9, 3e-9), (12.0, 45.0), (0.0, 1.0)] {
        let axis = Axis::linear("x", [low, high]).expect("an axis");
        let ticks = axis.ticks();
        assert!((3..=8).contains(&ticks.len()), "{low} to {high}: {ticks:?}");
    }
    for (low, high) in [(1e-9, 1e3), (1e-7, 1e-5), (1e-6, 1.1e-6), (2e-6, 9e-6)] {
        let axis = Axis::decades("x", [low, high]).expect("an axis");
        let ticks = axis.ticks();
        assert!((2..=9).contains(&ticks.len()), "{low} to {high}: {ticks:?}");
        assert!(ticks.iter().all(|tick| axis.range().contains(tick)));
    }
}

#[test]
fn numbers_are_written_as_on_paper() {
    for (value, text) in [
        (0.0, "0"),
        (250.0, "250"),
        (0.05, "0.05"),
        (1e-6, "10⁻⁶"),
        (2e-6, "2·10⁻⁶"),
        (1.5e-12, "1.5·10⁻¹²"),
        (10_000.0, "10⁴"),
        (9_999.999_999_99, "10⁴"),
        (1.0, "1"),
    ] {
        assert_eq!(number(value), text);
    }
}
