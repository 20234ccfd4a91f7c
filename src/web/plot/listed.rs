//! The frame of plots that list names below each other over one axis.

use plotters::{
    coord::{Shift, types::RangedCoordf64},
    prelude::*,
    style::text_anchor::{HPos, Pos, VPos},
};

use super::{Axis, FONT, GRID, INK, LETTERS, letters};

type Frame<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Axis, RangedCoordf64>>;

/// The chart with its axis drawn; `count` rows, each one high, the first from `count` down.
pub(super) fn frame<'a, 'b>(
    root: &'a DrawingArea<SVGBackend<'b>, Shift>,
    axis: &Axis,
    count: usize,
) -> Result<Frame<'a, 'b>, Box<dyn std::error::Error>> {
    let mut chart = ChartBuilder::on(root)
        .margin_left(14)
        .margin_right(18)
        .margin_top(4)
        .x_label_area_size(58)
        .build_cartesian_2d(axis.clone(), 0.0..count as f64)?;
    chart
        .configure_mesh()
        .disable_y_mesh()
        .disable_y_axis()
        .bold_line_style(GRID)
        .light_line_style(TRANSPARENT)
        .axis_style(INK)
        .label_style((FONT, LETTERS).into_font().color(&INK))
        .axis_desc_style((FONT, LETTERS).into_font().color(&INK))
        .x_desc(axis.title.as_str())
        .x_label_formatter(&|place| axis.label(*place))
        .draw()?;
    Ok(chart)
}

/// How names are written: from their left end, at the height of their middle.
pub(super) fn names() -> TextStyle<'static> {
    letters().pos(Pos::new(HPos::Left, VPos::Center))
}
