//! Least squares of a shape to block means, with bounds, and profile likelihood of one parameter.
//!
//! Levenberg-Marquardt on whitened residuals of `ln p`; a parameter at its bound is held there
//! while the slope pushes outward. Must not import I/O.

use std::cell::RefCell;

use super::drift::{COLUMNS, Products, Row, Whitener};
use super::reduce::Block;

/// Number of parameters of every curve; a curve that needs fewer holds the rest.
pub(crate) const PARAMETERS: usize = COLUMNS - 1;
/// Values of the parameters.
pub(crate) type Parameters = [f64; PARAMETERS];

/// A family of curves of pressure against time.
pub(crate) trait Curve: Copy {
    /// What does not depend on the time, computed once for given parameters.
    type Prepared;

    /// Lowest and highest value of each parameter.
    fn bounds(&self) -> [(f64, f64); PARAMETERS];

    /// Prepares the curve; `free` says which derivatives will be used.
    fn prepare(&self, free: &Free, parameters: &Parameters) -> Self::Prepared;

    /// `ln` of the pressure over its scale at `x`, and its derivatives by the parameters.
    fn log_pressure(&self, x: f64, at: &Self::Prepared) -> (f64, Parameters);

    /// What [`Curve::course`] depends on beside `x`, for a curve whose course is dear: equal forms have
    /// equal courses, which are then computed once for many amounts.
    fn form(&self, _at: &Self::Prepared) -> Option<Form> {
        None
    }

    /// The part of the curve at `x` that depends on its form alone.
    fn course(&self, _x: f64, _at: &Self::Prepared) -> Course {
        Course::default()
    }

    /// The same as [`Curve::log_pressure`], where the course at `x` is known.
    fn log_pressure_along(
        &self,
        x: f64,
        _course: Course,
        at: &Self::Prepared,
    ) -> (f64, Parameters) {
        self.log_pressure(x, at)
    }
}

/// What tells one form of a curve from another.
pub(crate) type Form = [f64; 3];
/// What a curve's form gives at one time.
pub(crate) type Course = [f64; 3];

/// Which parameters may move.
pub(crate) type Free = [bool; PARAMETERS];

/// The outcome of a fit.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fit<C> {
    pub(crate) shape: C,
    pub(crate) free: Free,
    pub(crate) parameters: Parameters,
    /// Sum of squared whitened residuals.
    pub(crate) deviance: f64,
}

/// Block means ready for fits of one error model.
pub(crate) struct Problem<'a> {
    blocks: &'a [Block],
    whitener: &'a Whitener,
    /// `ln` of the pressure scale.
    log_scale: f64,
    courses: RefCell<Courses>,
    /// Parameters known beforehand to be zero within a standard deviation: its inverse square.
    known: [f64; PARAMETERS],
}

/// The courses of the last few forms, by block. Fits often end at bounds, with one form for many
/// amounts.
#[derive(Debug, Default)]
struct Courses {
    known: Vec<(Option<Form>, Vec<Course>)>,
    /// The one to be forgotten next.
    oldest: usize,
}

/// Forms whose courses are kept.
const FORMS: usize = 8;

impl Courses {
    /// The courses of a form, which are found by `course` unless they are known.
    fn of(&mut self, form: Form, courses: impl Iterator<Item = Course>) -> &[Course] {
        let known = self
            .known
            .iter()
            .position(|(known, _)| *known == Some(form));
        let at = known.unwrap_or_else(|| {
            if self.known.len() < FORMS {
                self.known.push((None, Vec::new()));
            }
            let at = self.oldest;
            self.oldest = (at + 1) % FORMS;
            let (of, kept) = &mut self.known[at];
            *of = Some(form);
            kept.clear();
            kept.extend(courses);
            at
        });
        &self.known[at].1
    }
}

impl<'a> Problem<'a> {
    pub(crate) fn new(blocks: &'a [Block], whitener: &'a Whitener, log_scale: f64) -> Self {
        Self {
            blocks,
            whitener,
            log_scale,
            courses: RefCell::default(),
            known: [0.0; PARAMETERS],
        }
    }

    /// The same with parameter `index` known beforehand to be zero within this standard deviation.
    pub(crate) fn knowing(mut self, index: usize, deviation: f64) -> Self {
        self.known[index] = deviation.powi(2).recip();
        self
    }

    /// Fits `shape` from `start`, moving the parameters that are `free`.
    pub(crate) fn fit<C: Curve>(&self, shape: C, free: Free, start: Parameters) -> Fit<C> {
        let bounds = shape.bounds();
        let mut parameters = start;
        for (value, (low, high)) in parameters.iter_mut().zip(bounds) {
            *value = value.clamp(low, high);
        }
        let mut here = self.evaluate(&shape, &free, &parameters);
        let mut deviance = here[0][0];
        let mut damping = 1e-3;
        for _ in 0..60 {
            let mut moved = false;
            let mut gained = 0.0;
            for _ in 0..8 {
                let step = solve(&here, &free, &parameters, &bounds, damping);
                let mut trial = parameters;
                for index in 0..PARAMETERS {
                    let (low, high) = bounds[index];
                    trial[index] = (trial[index] + step[index]).clamp(low, high);
                }
                if trial == parameters {
                    break;
                }
                let next = self.evaluate(&shape, &free, &trial);
                let reached = next[0][0];
                if reached < deviance {
                    gained = deviance - reached;
                    parameters = trial;
                    deviance = reached;
                    here = next;
                    damping = (damping * 0.1).max(1e-9);
                    moved = true;
                    break;
                }
                damping *= 8.0;
            }
            if !moved || gained < 2e-3 {
                break;
            }
        }
        Fit {
            shape,
            free,
            parameters,
            deviance,
        }
    }

    /// Residuals of `ln p`, not whitened.
    pub(crate) fn residuals<C: Curve>(&self, fit: &Fit<C>) -> Vec<f64> {
        let prepared = fit.prepared();
        self.blocks
            .iter()
            .map(|block| {
                let (model, _) = fit.shape.log_pressure(block.at, &prepared);
                block.log_pressure - self.log_scale - model
            })
            .collect()
    }

    /// Derivative columns of `ln p` by the free parameters, not whitened.
    pub(crate) fn columns<C: Curve>(&self, fit: &Fit<C>) -> Vec<Vec<f64>> {
        let prepared = fit.prepared();
        let all: Vec<Parameters> = self
            .blocks
            .iter()
            .map(|block| fit.shape.log_pressure(block.at, &prepared).1)
            .collect();
        (0..PARAMETERS)
            .filter(|index| fit.free[*index])
            .map(|index| all.iter().map(|slopes| slopes[index]).collect())
            .collect()
    }

    /// Sums of products of the whitened residual (first) and derivatives by the free parameters.
    fn evaluate<C: Curve>(&self, shape: &C, free: &Free, parameters: &Parameters) -> Products {
        let prepared = shape.prepare(free, parameters);
        let mut courses = self.courses.borrow_mut();
        let courses = match shape.form(&prepared) {
            Some(form) => {
                let course = |block: &Block| shape.course(block.at, &prepared);
                courses.of(form, self.blocks.iter().map(course))
            }
            None => &[],
        };
        // Only the columns in use cost time.
        let mut products = match free.iter().filter(|free| **free).count() {
            0 => self.sums::<C, 1>(shape, free, &prepared, courses),
            1 => self.sums::<C, 2>(shape, free, &prepared, courses),
            2 => self.sums::<C, 3>(shape, free, &prepared, courses),
            3 => self.sums::<C, 4>(shape, free, &prepared, courses),
            4 => self.sums::<C, 5>(shape, free, &prepared, courses),
            _ => self.sums::<C, COLUMNS>(shape, free, &prepared, courses),
        };
        for (index, known) in self.known.into_iter().enumerate() {
            // As of one more reading, of zero, of the parameter itself.
            products[0][0] += known * parameters[index].powi(2);
            if free[index] {
                products[0][1 + index] -= known * parameters[index];
                products[1 + index][0] -= known * parameters[index];
                products[1 + index][1 + index] += known;
            }
        }
        products
    }

    /// The same with `K - 1` parameters free; without courses, they are found on the way.
    fn sums<C: Curve, const K: usize>(
        &self,
        shape: &C,
        free: &Free,
        prepared: &C::Prepared,
        courses: &[Course],
    ) -> Products {
        let mut columns = [0; K];
        for (column, index) in columns[1..]
            .iter_mut()
            .zip((0..PARAMETERS).filter(|index| free[*index]))
        {
            *column = 1 + index;
        }
        // Apart from the sums, so that neither waits for what the other has just written.
        let mut rows: Vec<Row<K>> = Vec::with_capacity(self.blocks.len());
        let mut push = |block: &Block, (model, slopes): (f64, Parameters)| {
            let mut row: Row<K> = [block.log_pressure - self.log_scale - model; K];
            for column in 1..K {
                row[column] = slopes[columns[column] - 1];
            }
            rows.push(row);
        };
        if courses.is_empty() {
            for block in self.blocks {
                push(block, shape.log_pressure(block.at, prepared));
            }
        } else {
            for (block, course) in self.blocks.iter().zip(courses) {
                push(block, shape.log_pressure_along(block.at, *course, prepared));
            }
        }
        let sums = self.whitener.products(&rows);
        let mut products = [[0.0; COLUMNS]; COLUMNS];
        for (sums, row) in sums.iter().zip(columns) {
            for (sum, column) in sums.iter().zip(columns) {
                products[row][column] = *sum;
            }
        }
        products
    }
}

impl<C: Curve> Fit<C> {
    pub(crate) fn prepared(&self) -> C::Prepared {
        self.shape.prepare(&self.free, &self.parameters)
    }

    /// `ln` of the fitted pressure over its scale.
    pub(crate) fn log_pressure(&self, x: f64) -> f64 {
        self.shape.log_pressure(x, &self.prepared()).0
    }

    pub(crate) fn free_count(&self) -> usize {
        self.free.iter().filter(|free| **free).count()
    }
}

/// The lowest and the highest value of parameter `index` at which the profile deviance is within `cut` of
/// `lowest`. Each of `fits` is a family; the profile is the lowest over them (the discrete profiling
/// method: Dauncey et al., J. Instrum. 10 (2015) P04015, from memory).
///
/// Each family is walked along from its own best value: between two that fit about as well there may be
/// values that fit neither, and a walk from one would not come to the other.
pub(crate) fn profile<C: Curve>(
    problem: &Problem<'_>,
    fits: &[Fit<C>],
    index: usize,
    lowest: f64,
    cut: f64,
) -> (f64, f64) {
    let best = lowest_of(fits).parameters[index];
    fits.iter()
        .filter(|fit| fit.deviance - lowest <= cut)
        .fold((best, best), |(low, high), fit| {
            let (floor, ceiling) = fit.shape.bounds()[index];
            let end = |bound: f64| edge(problem, fit, index, bound, lowest, cut);
            (low.min(end(floor)), high.max(end(ceiling)))
        })
}

/// The fit of lowest deviance; `fits` holds at least one.
pub(crate) fn lowest_of<C: Curve>(fits: &[Fit<C>]) -> Fit<C> {
    let mut best = fits[0];
    for fit in &fits[1..] {
        if fit.deviance < best.deviance {
            best = *fit;
        }
    }
    best
}

fn edge<C: Curve>(
    problem: &Problem<'_>,
    fit: &Fit<C>,
    index: usize,
    bound: f64,
    lowest: f64,
    cut: f64,
) -> f64 {
    let centre = fit.parameters[index];
    let mut warm = Trail {
        fit: *fit,
        best: fit.parameters,
        before: None,
    };
    let outward = bound - centre;
    if outward == 0.0 {
        return bound;
    }
    // Walk out in growing steps until the profile is above the cut, or to the bound.
    let mut step = (0.05 * centre.abs().max(0.02)).min(outward.abs());
    let mut inside = centre;
    let mut inside_height = fit.deviance - lowest - cut;
    let (mut outside, mut outside_height);
    loop {
        let value = if (inside + step * outward.signum() - bound) * outward.signum() >= 0.0 {
            bound
        } else {
            inside + step * outward.signum()
        };
        let mut reached = held(problem, &mut warm, index, value) - lowest - cut;
        if reached > 0.0 && inside != centre {
            // A fit that went astray on the way would end the interval too early; the first step begins
            // afresh anyway.
            reached = reached.min(afresh(problem, &mut warm, index, value) - lowest - cut);
        }
        if reached > 0.0 {
            (outside, outside_height) = (value, reached);
            break;
        }
        if value == bound {
            return bound;
        }
        inside = value;
        inside_height = reached;
        step *= 2.5;
    }
    // The square root of the deviance is nearly straight: secant on it, kept inside the bracket.
    for _ in 0..8 {
        let root = |above: f64| (above + cut).max(0.0).sqrt();
        let (near, far) = (root(inside_height), root(outside_height));
        let share = ((cut.sqrt() - near) / (far - near).max(1e-12)).clamp(0.05, 0.95);
        let value = inside + share * (outside - inside);
        let reached = held(problem, &mut warm, index, value) - lowest - cut;
        if reached.abs() < 0.02 * cut {
            return value;
        }
        if reached > 0.0 {
            (outside, outside_height) = (value, reached);
        } else {
            (inside, inside_height) = (value, reached);
        }
    }
    0.5 * (inside + outside)
}

/// The last fit of a family on the way along a profile, and the parameters of the one before.
struct Trail<C> {
    fit: Fit<C>,
    /// Where it began.
    best: Parameters,
    before: Option<Parameters>,
}

impl<C: Curve> Trail<C> {
    /// Where the fit with parameter `index` at `value` is likely to lie: on the line through the last
    /// two.
    fn ahead(&self, index: usize, value: f64) -> Parameters {
        let last = self.fit.parameters;
        let mut ahead = last;
        if let Some(before) = self.before {
            let share = (value - last[index]) / (last[index] - before[index]);
            if share.abs() <= 3.0 {
                for (ahead, before) in ahead.iter_mut().zip(before) {
                    *ahead += share * (*ahead - before);
                }
            }
        }
        ahead[index] = value;
        ahead
    }
}

/// Lowest deviance of a family with parameter `index` held at `value`.
fn held<C: Curve>(problem: &Problem<'_>, trail: &mut Trail<C>, index: usize, value: f64) -> f64 {
    let mut free = trail.fit.free;
    free[index] = false;
    let start = trail.ahead(index, value);
    let refit = problem.fit(trail.fit.shape, free, start);
    trail.before = Some(trail.fit.parameters);
    trail.fit.parameters = refit.parameters;
    refit.deviance
}

/// The same, found from where the family began.
fn afresh<C: Curve>(problem: &Problem<'_>, trail: &mut Trail<C>, index: usize, value: f64) -> f64 {
    trail.fit.parameters = trail.best;
    trail.before = None;
    held(problem, trail, index, value)
}

/// The damped step; parameters that are not free, or pushed against a bound, do not move.
fn solve(
    products: &Products,
    free: &Free,
    parameters: &Parameters,
    bounds: &[(f64, f64); PARAMETERS],
    damping: f64,
) -> Parameters {
    let mut active = *free;
    for index in 0..PARAMETERS {
        let (low, high) = bounds[index];
        let slope = products[0][1 + index];
        if (parameters[index] <= low && slope < 0.0) || (parameters[index] >= high && slope > 0.0) {
            active[index] = false;
        }
    }
    let mut work = [[0.0; PARAMETERS + 1]; PARAMETERS];
    for row in 0..PARAMETERS {
        if !active[row] {
            work[row][row] = 1.0;
            continue;
        }
        for column in 0..PARAMETERS {
            if active[column] {
                work[row][column] = products[1 + row][1 + column];
            }
        }
        work[row][row] += damping * products[1 + row][1 + row] + 1e-12;
        work[row][PARAMETERS] = products[0][1 + row];
    }
    // Gaussian elimination; the matrix is positive definite through the damping.
    for pivot in 0..PARAMETERS {
        let divisor = work[pivot][pivot];
        if divisor.abs() < 1e-300 {
            return [0.0; PARAMETERS];
        }
        for row in pivot + 1..PARAMETERS {
            let factor = work[row][pivot] / divisor;
            if factor != 0.0 {
                let above = work[pivot];
                for (value, above) in work[row].iter_mut().zip(above).skip(pivot) {
                    *value -= factor * above;
                }
            }
        }
    }
    let mut step = [0.0; PARAMETERS];
    for row in (0..PARAMETERS).rev() {
        let mut value = work[row][PARAMETERS];
        for column in row + 1..PARAMETERS {
            value -= work[row][column] * step[column];
        }
        step[row] = value / work[row][row];
    }
    if step.iter().all(|value| value.is_finite()) {
        step
    } else {
        [0.0; PARAMETERS]
    }
}
