//! The course of a record on a logarithmic scale of time.

use super::late::Part;
use super::pumping_begins;
use crate::vacuum::log::TidyRecord;
use crate::vacuum::rise::reduce::{Block, blocks};

/// `ln p` of a record against the time since pumping began, as block means on a logarithmic scale.
#[derive(Debug)]
pub(super) struct Track {
    pub(super) points: Vec<(f64, f64)>,
}

impl Track {
    pub(super) fn whole(record: &TidyRecord) -> Option<Self> {
        let begins = pumping_begins(record);
        let seconds = record.seconds.get(begins..)?;
        let start = *seconds.first()?;
        let length = seconds.last()? - start;
        let points: Vec<(f64, f64)> = blocks(seconds, &record.pascals[begins..])
            .iter()
            .map(|block| (block.at * length, block.log_pressure))
            .collect();
        (points.len() >= 3).then_some(Self { points })
    }

    pub(super) fn of(part: &Part) -> Self {
        let length = part.between.1 - part.between.0;
        let start = part.between.0 - part.origin;
        Self {
            points: part
                .blocks
                .iter()
                .map(|block| (start + block.at * length, block.log_pressure))
                .collect(),
        }
    }

    /// The track with its scatter smoothed away: the healthy curve stands as given, and what scatters
    /// in it would count against the explanations that rest on it most.
    ///
    /// Each point becomes that of a straight line in `ln p` against `ln t` through its neighbours,
    /// weighted by the readings behind them.
    pub(super) fn smoothed(self, blocks: &[Block]) -> Self {
        const NEAR: usize = 8;
        let points = (0..self.points.len())
            .map(|index| {
                let near = index.saturating_sub(NEAR)..(index + NEAR + 1).min(self.points.len());
                let log_here = self.points[index].0.max(1e-9).ln();
                let (mut weight, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
                for neighbour in near {
                    let (time, log) = self.points[neighbour];
                    let (away, count) = (time.max(1e-9).ln() - log_here, blocks[neighbour].count);
                    weight += count;
                    x += count * away;
                    y += count * log;
                    xx += count * away * away;
                    xy += count * away * log;
                }
                let spread = weight * xx - x * x;
                let here = if spread > 1e-12 {
                    (xx * y - x * xy) / spread
                } else {
                    y / weight
                };
                (self.points[index].0, here)
            })
            .collect();
        Self { points }
    }

    pub(super) fn from(&self) -> f64 {
        self.points.first().map_or(0.0, |point| point.0)
    }

    pub(super) fn to(&self) -> f64 {
        self.points.last().map_or(0.0, |point| point.0)
    }

    /// `ln p` by straight lines between the points; `None` outside them.
    pub(super) fn at(&self, time: f64) -> Option<f64> {
        let next = self.points.partition_point(|point| point.0 < time);
        let (after, before) = (
            self.points.get(next)?,
            self.points.get(next.saturating_sub(1))?,
        );
        if after.0 <= before.0 {
            return (after.0 == time).then_some(after.1);
        }
        let share = (time - before.0) / (after.0 - before.0);
        Some(before.1 + share * (after.1 - before.1))
    }
}
