//! Named amounts below each other on one axis of decades, each with its interval.

use plotters::{coord::ranged1d::Ranged, prelude::*};

use super::{Axis, Sheet, colour, drawn, listed};
use crate::web::{fault::Fault, views::SafeHtml};

/// One amount.
#[derive(Clone, Debug)]
pub(in crate::web) struct Row {
    /// What it is.
    pub(in crate::web) name: String,
    /// The best value; none where there is only a range.
    pub(in crate::web) value: Option<f64>,
    /// The range around it.
    pub(in crate::web) range: Option<(f64, f64)>,
}

impl Row {
    /// An amount alone.
    pub(in crate::web) fn value(name: impl Into<String>, value: f64) -> Self {
        Self {
            name: name.into(),
            value: Some(value),
            range: None,
        }
    }

    /// A range, with or without a best value.
    pub(in crate::web) fn range(
        name: impl Into<String>,
        value: Option<f64>,
        low: f64,
        high: f64,
    ) -> Self {
        Self {
            name: name.into(),
            value,
            range: Some((low, high)),
        }
    }

    fn values(&self) -> impl Iterator<Item = f64> {
        let (low, high) = self.range.unzip();
        self.value.into_iter().chain(low).chain(high)
    }
}

/// A plot of amounts.
#[derive(Clone, Debug)]
pub(in crate::web) struct Rows<'a> {
    /// What is drawn.
    pub(in crate::web) title: &'a str,
    /// What it shows, in one sentence.
    pub(in crate::web) description: &'a str,
    /// The name and unit of the axis.
    pub(in crate::web) axis: &'a str,
    /// The amounts, from above.
    pub(in crate::web) rows: Vec<Row>,
}

impl Rows<'_> {
    /// The drawing; none if no amount can stand on an axis of decades.
    pub(in crate::web) fn draw(&self) -> Result<Option<SafeHtml>, Fault> {
        let Some(axis) = Axis::decades(self.axis, self.rows.iter().flat_map(Row::values)) else {
            return Ok(None);
        };
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
        // Where names stand above their marks a row holds both.
        let (row, below, end) = if sheet.names().is_some() {
            (36, 0.5, 0.2)
        } else {
            (52, 0.72, 0.13)
        };
        let height = 66 + row * count as u32;
        let root = SVGBackend::with_string(svg, (sheet.width(), height)).into_drawing_area();
        let mut chart = listed::frame(&root, sheet, axis, count)?;
        for (place, row) in self.rows.iter().enumerate() {
            let top = count as f64 - place as f64;
            let mark = top - below;
            let start = axis.range().start;
            listed::name(&root, &chart, sheet, &row.name, [top - 0.28, mark])?;
            let colour = colour(0);
            if let Some((low, high)) = row.range {
                // An end at nothing lies beyond every axis of decades.
                let low = axis.place(low).unwrap_or(start);
                if let Some(high) = axis.place(high) {
                    chart.draw_series([PathElement::new(
                        [(low, mark), (high, mark)],
                        colour.stroke_width(4),
                    )])?;
                    let ends = [low, high].map(|x| {
                        PathElement::new([(x, mark - end), (x, mark + end)], colour.stroke_width(4))
                    });
                    chart.draw_series(ends)?;
                }
            }
            if let Some(value) = row.value.and_then(|value| axis.place(value)) {
                chart.draw_series([Circle::new((value, mark), 7, colour.filled())])?;
            }
        }
        root.present()?;
        Ok(())
    }
}
