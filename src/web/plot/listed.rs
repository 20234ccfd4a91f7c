//! The frame of plots that list names below each other over one axis.

use plotters::{
    coord::{Shift, types::RangedCoordf64},
    prelude::*,
    style::text_anchor::{HPos, Pos, VPos},
};

use super::{Axis, FONT, GRID, INK, LETTERS, Sheet, letters};

/// Where names begin.
const LEFT: u32 = 14;

type Frame<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Axis, RangedCoordf64>>;

/// The chart with its axis drawn; `count` rows, each one high, the first from `count` down.
pub(super) fn frame<'a, 'b>(
    root: &'a DrawingArea<SVGBackend<'b>, Shift>,
    sheet: Sheet,
    axis: &Axis,
    count: usize,
) -> Result<Frame<'a, 'b>, Box<dyn std::error::Error>> {
    let mut chart = ChartBuilder::on(root)
        .margin_left(sheet.names().unwrap_or(LEFT))
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

/// Writes a name: above its mark, or at the height of its mark where there is room beside it.
pub(super) fn name(
    root: &DrawingArea<SVGBackend<'_>, Shift>,
    chart: &Frame<'_, '_>,
    sheet: Sheet,
    words: &str,
    [above, mark]: [f64; 2],
) -> Result<(), Box<dyn std::error::Error>> {
    let height = sheet.names().map_or(above, |_| mark);
    let start = chart.x_range().start;
    let (_, y) = chart.backend_coord(&(start, height));
    let style = letters().pos(Pos::new(HPos::Left, VPos::Center));
    let words = shortened(words);
    root.draw(&Text::new(words, (LEFT as i32, y), style))?;
    Ok(())
}

/// As much of a name as fits, which is about the same beside a mark and above it.
fn shortened(words: &str) -> String {
    const FITS: usize = 42;
    if words.chars().count() <= FITS {
        return words.to_owned();
    }
    let cut: String = words.chars().take(FITS - 1).collect();
    format!("{}…", cut.trim_end())
}
