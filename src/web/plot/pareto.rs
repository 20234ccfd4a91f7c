//! Amounts by falling size, with the line of what all so far amount to.

use plotters::{prelude::*, series::LineSeries};

use super::{Axis, Sheet, colour, drawn, listed};
use crate::web::{fault::Fault, views::SafeHtml};

/// A Pareto plot, drawn downwards so that names have room on a phone.
#[derive(Clone, Debug)]
pub(in crate::web) struct Pareto<'a> {
    /// What is drawn.
    pub(in crate::web) title: &'a str,
    /// What it shows, in one sentence.
    pub(in crate::web) description: &'a str,
    /// Name, share and share of all so far, 0 to 1, by falling share.
    pub(in crate::web) rows: Vec<(String, f64, f64)>,
}

impl Pareto<'_> {
    /// The drawing; none without a row.
    pub(in crate::web) fn draw(&self) -> Result<Option<SafeHtml>, Fault> {
        let Some(axis) = Axis::linear("Share of cases in %", [0.0, 100.0]) else {
            return Ok(None);
        };
        if self.rows.is_empty() {
            return Ok(None);
        }
        drawn(self.title, self.description, |svg, sheet| {
            self.draw_on(svg, sheet, &axis)
        })
        .map(Some)
    }

    fn draw_on(
        &self,
        svg: &mut String,
        sheet: Sheet,
        axis: &Axis,
    ) -> Result<(), Box<dyn std::error::Error>> {
        let count = self.rows.len();
        // Where names stand above their bars a row holds both.
        let (row, thick) = if sheet.names().is_some() {
            (30, 0.32)
        } else {
            (46, 0.17)
        };
        let height = 70 + row * count as u32;
        let root = SVGBackend::with_string(svg, (sheet.width(), height)).into_drawing_area();
        let mut chart = listed::frame(&root, sheet, axis, count)?;
        let middle = |place: usize| {
            let top = count as f64 - place as f64;
            top - if sheet.names().is_some() { 0.5 } else { 0.74 }
        };
        for (place, (_, share, _)) in self.rows.iter().enumerate() {
            let at = middle(place);
            chart.draw_series([Rectangle::new(
                [(0.0, at - thick), (100.0 * share, at + thick)],
                colour(0).filled(),
            )])?;
        }
        let line: Vec<(f64, f64)> = self
            .rows
            .iter()
            .enumerate()
            .map(|(place, (_, _, so_far))| (100.0 * so_far, middle(place)))
            .collect();
        chart.draw_series(LineSeries::new(line.clone(), colour(1).stroke_width(3)))?;
        chart.draw_series(
            line.into_iter()
                .map(|at| Circle::new(at, 5, colour(1).filled())),
        )?;
        // Over the line, which crosses them.
        for (place, (words, _, _)) in self.rows.iter().enumerate() {
            let mark = middle(place);
            listed::name(&root, &chart, sheet, words, [mark + 0.46, mark])?;
        }
        root.present()?;
        Ok(())
    }
}
