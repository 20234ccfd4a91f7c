//! Amounts by falling size, with the line of what all so far amount to.

use plotters::{prelude::*, series::LineSeries};

use super::{Axis, WIDTH, colour, failed, finished, listed};
use crate::web::{fault::Fault, views::SafeHtml};

/// Height of one row: its name and its bar below it.
const ROW: u32 = 46;

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
        let mut svg = String::new();
        self.draw_on(&mut svg, &axis).map_err(failed)?;
        Ok(Some(finished(&svg, self.title, self.description)))
    }

    fn draw_on(&self, svg: &mut String, axis: &Axis) -> Result<(), Box<dyn std::error::Error>> {
        let count = self.rows.len();
        let height = 70 + ROW * count as u32;
        let root = SVGBackend::with_string(svg, (WIDTH, height)).into_drawing_area();
        let mut chart = listed::frame(&root, axis, count)?;
        let name = listed::names();
        let middle = |place: usize| count as f64 - place as f64 - 0.74;
        for (place, (_, share, _)) in self.rows.iter().enumerate() {
            let at = middle(place);
            chart.draw_series([Rectangle::new(
                [(0.0, at - 0.17), (100.0 * share, at + 0.17)],
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
            let at = (0.0, middle(place) + 0.46);
            chart.draw_series([Text::new(shortened(words), at, name.clone())])?;
        }
        root.present()?;
        Ok(())
    }
}

/// As much of a name as fits across.
fn shortened(words: &str) -> String {
    const FITS: usize = 42;
    if words.chars().count() <= FITS {
        return words.to_owned();
    }
    let cut: String = words.chars().take(FITS - 1).collect();
    format!("{}…", cut.trim_end())
}
