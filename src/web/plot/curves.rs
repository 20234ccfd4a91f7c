//! Readings and curves over an axis of time, length or mass.

use plotters::{
    coord::ranged1d::Ranged,
    element::DashedPathElement,
    prelude::*,
    series::{DashedLineSeries, LineSeries},
    style::text_anchor::{HPos, Pos, VPos},
};

use super::{Axis, FONT, GRID, INK, LETTERS, Sheet, colour, drawn, letters};
use crate::web::{fault::Fault, views::SafeHtml};

const HEIGHT: u32 = 340;

/// How many letters fit across a legend beside its mark.
const LEGEND: i32 = 26;

/// How a series is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::web) enum Mark {
    /// A small dot a reading.
    Dots,
    /// An open circle a reading.
    Circles,
    /// A line.
    Line,
    /// A broken line.
    Dashes,
    /// A stem from the ground to each value.
    Stems,
    /// A line with its number on it, from 1 to 9; broken above 4, where colours begin anew.
    Numbered(u8),
}

impl Mark {
    fn is_of_readings(self) -> bool {
        matches!(self, Mark::Dots | Mark::Circles)
    }
}

/// Values that belong together.
#[derive(Clone, Debug)]
pub(in crate::web) struct Series {
    /// What they are, for the legend.
    pub(in crate::web) name: String,
    /// How they are drawn.
    pub(in crate::web) mark: Mark,
    /// Across and up.
    pub(in crate::web) points: Vec<(f64, f64)>,
}

/// A plot of one or more series.
#[derive(Clone, Debug)]
pub(in crate::web) struct Curves<'a> {
    /// What is drawn.
    pub(in crate::web) title: &'a str,
    /// What it shows, in one sentence.
    pub(in crate::web) description: &'a str,
    /// The axis across.
    pub(in crate::web) across: Axis,
    /// The axis up.
    pub(in crate::web) up: Axis,
    /// The series, drawn in this order, lines before readings.
    pub(in crate::web) series: Vec<Series>,
}

impl Curves<'_> {
    /// The drawing.
    pub(in crate::web) fn draw(&self) -> Result<SafeHtml, Fault> {
        drawn(self.title, self.description, |svg, sheet| {
            self.draw_on(svg, sheet)
        })
    }

    fn draw_on(&self, svg: &mut String, sheet: Sheet) -> Result<(), Box<dyn std::error::Error>> {
        let legend_rows = self.series.len().div_ceil(sheet.columns()) as i32;
        let height = HEIGHT + (legend_rows * LEGEND) as u32;
        let root = SVGBackend::with_string(svg, (sheet.width(), height)).into_drawing_area();
        let (legend, area) = root.split_vertically(legend_rows * LEGEND + 6);
        let (across, up) = (&self.across, &self.up);
        let mut chart = ChartBuilder::on(&area)
            .margin_right(18)
            .margin_top(6)
            .x_label_area_size(54)
            .y_label_area_size(80)
            .build_cartesian_2d(across.clone(), up.clone())?;
        chart
            .configure_mesh()
            .bold_line_style(GRID)
            .light_line_style(TRANSPARENT)
            .axis_style(INK)
            .label_style((FONT, LETTERS).into_font().color(&INK))
            .axis_desc_style((FONT, LETTERS).into_font().color(&INK))
            .x_desc(across.title.as_str())
            .y_desc(up.title.as_str())
            .x_label_formatter(&|place| across.label(*place))
            .y_label_formatter(&|place| up.label(*place))
            .draw()?;
        // What was measured lies over the lines through it.
        let lines = self
            .series
            .iter()
            .enumerate()
            .filter(|(_, one)| !one.mark.is_of_readings());
        let readings = self
            .series
            .iter()
            .enumerate()
            .filter(|(_, one)| one.mark.is_of_readings());
        for (place, series) in lines.chain(readings) {
            let colour = colour(place);
            let ground = up.range().start;
            let points: Vec<(f64, f64)> = series
                .points
                .iter()
                .filter_map(|(x, y)| Some((across.place(*x)?, up.place(*y)?)))
                .filter(|(x, y)| across.range().contains(x) && up.range().contains(y))
                .collect();
            match series.mark {
                Mark::Dots => {
                    chart.draw_series(
                        points.iter().map(|at| Circle::new(*at, 3, colour.filled())),
                    )?;
                }
                Mark::Circles => {
                    chart.draw_series(
                        points
                            .iter()
                            .map(|at| Circle::new(*at, 5, colour.stroke_width(2))),
                    )?;
                }
                Mark::Line => {
                    chart.draw_series(LineSeries::new(points, colour.stroke_width(2)))?;
                }
                Mark::Dashes => {
                    chart.draw_series(DashedLineSeries::new(
                        points,
                        9,
                        6,
                        colour.stroke_width(3),
                    ))?;
                }
                Mark::Numbered(number) => {
                    let label = points.get(numbered_at(number, points.len())).copied();
                    if number > 4 {
                        chart.draw_series(DashedLineSeries::new(
                            points,
                            9,
                            6,
                            colour.stroke_width(2),
                        ))?;
                    } else {
                        chart.draw_series(LineSeries::new(points, colour.stroke_width(2)))?;
                    }
                    let style = (FONT, LETTERS)
                        .into_font()
                        .color(&colour)
                        .pos(Pos::new(HPos::Right, VPos::Bottom));
                    chart.draw_series(
                        label
                            .into_iter()
                            .map(|at| Text::new(number.to_string(), at, style.clone())),
                    )?;
                }
                Mark::Stems => {
                    chart.draw_series(points.iter().map(|(x, y)| {
                        PathElement::new([(*x, ground), (*x, *y)], colour.stroke_width(5))
                    }))?;
                }
            }
            self.key(&legend, sheet, place, series)?;
        }
        root.present()?;
        Ok(())
    }

    /// The legend's line of one series.
    fn key<D: DrawingBackend>(
        &self,
        legend: &DrawingArea<D, plotters::coord::Shift>,
        sheet: Sheet,
        place: usize,
        series: &Series,
    ) -> Result<(), Box<dyn std::error::Error>>
    where
        D::ErrorType: 'static,
    {
        let colour = colour(place);
        let middle = (place / sheet.columns()) as i32 * LEGEND + LEGEND / 2 + 3;
        let column = sheet.width() as i32 / sheet.columns() as i32;
        let left = (place % sheet.columns()) as i32 * column;
        let ends = [(left + 14, middle), (left + 46, middle)];
        match series.mark {
            Mark::Dots => legend.draw(&Circle::new((left + 30, middle), 3, colour.filled()))?,
            Mark::Circles => {
                legend.draw(&Circle::new((left + 30, middle), 5, colour.stroke_width(2)))?;
            }
            Mark::Line => legend.draw(&PathElement::new(ends, colour.stroke_width(3)))?,
            Mark::Dashes => {
                legend.draw(&DashedPathElement::new(ends, 9, 6, colour.stroke_width(3)))?;
            }
            Mark::Numbered(number) if number > 4 => {
                legend.draw(&DashedPathElement::new(ends, 9, 6, colour.stroke_width(2)))?;
            }
            Mark::Numbered(_) => legend.draw(&PathElement::new(ends, colour.stroke_width(2)))?,
            Mark::Stems => legend.draw(&PathElement::new(ends, colour.stroke_width(5)))?,
        }
        let style = letters().pos(Pos::new(HPos::Left, VPos::Center));
        legend.draw(&Text::new(series.name.clone(), (left + 56, middle), style))?;
        Ok(())
    }
}

/// Where along its points a line carries its number: each further back, so that they stand apart.
fn numbered_at(number: u8, points: usize) -> usize {
    let share = 1.0 - 0.09 * f64::from(number);
    (share.max(0.0) * points.saturating_sub(1) as f64) as usize
}
