//! Lengths on the map, measured once per document, and the factor by which most recorded lengths
//! differ from them.
//!
//! A wrong unit of the reference system or of the lengths makes every pipe 3.28 times too long or
//! too short. That is one fault, so the factor is found by a vote of all pipes, and every
//! comparison of the map with distances uses it. `crs-unit-suspect` decides whether the reference system
//! or the lengths are wrong.

use obvert_geo::{Crs, CrsKind, FOOT_METRES, Fit, Slip, Unit};
use obvert_model::number::Position;
use obvert_model::tables::{Head, OutcomeKind, Structure, StructureKind};

use crate::views::{Ending, PipeView, Survey};

/// How many records must agree.
const MIN_RECORDS: usize = 3;

/// A path that ends farther than this from its structure, in metres, is a finding of
/// `path-end-mismatch`.
pub(crate) const ENDS_SLACK: f64 = 5.0;

/// How many positions are compared with the area of use; more would not change the majority.
const MAX_SAMPLE: usize = 250;

/// The ratio of two lengths that should be equal, in most records.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Vote {
    /// The ratio: 1, or the factor between feet and metres either way.
    pub(crate) ratio: f64,
    /// How many records have this ratio.
    pub(crate) agree: usize,
    /// How many records were compared.
    pub(crate) of: usize,
}

/// The ratio that at least four in five records have, of at least three.
pub(crate) fn vote(ratios: &[f64]) -> Option<Vote> {
    let of = ratios.len();
    [1.0, FOOT_METRES, 1.0 / FOOT_METRES].into_iter().find_map(|ratio| {
        // Missing bends and slopes make a line some per cent shorter than its pipe; the factors
        // differ by far more.
        let agree =
            ratios.iter().filter(|found| (0.85..=1.15).contains(&(**found / ratio))).count();
        (of >= MIN_RECORDS && four_in_five(agree, of)).then_some(Vote { ratio, agree, of })
    })
}

/// Whether `some` are at least four in five `of` them.
pub(crate) fn four_in_five(some: usize, of: usize) -> bool {
    some > 0 && some * 5 >= of * 4
}

/// The measured geometry of a document's pipes.
#[derive(Debug, Default)]
pub(crate) struct MapLengths {
    /// The length of every pipe on the map in metres, by the reference system.
    lengths: Vec<Option<f64>>,
    /// Whether the two numbers of every position are swapped in a geographic system, so that they
    /// are measured swapped.
    pub(crate) exchanged: bool,
    /// Recorded lengths over measured ones.
    pub(crate) vote: Option<Vote>,
    /// Whether most positions are in the area of use of the reference system, or why not.
    pub(crate) fit: Option<Fit>,
    /// What is in the wrong unit if recorded and measured lengths differ by a unit.
    pub(crate) wrong_unit: Option<WrongUnit>,
    /// Positions outside the area of use, if most are inside.
    pub(crate) outliers: Vec<(PositionRef, Position)>,
}

/// What is in the wrong unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum WrongUnit {
    /// The positions, in this way.
    Positions(Slip),
    /// The lengths.
    Lengths,
}

impl MapLengths {
    pub(crate) fn new(survey: &Survey<'_>) -> Self {
        let Some(crs) = &survey.crs else { return Self::default() };
        let lengths = |exchanged| -> Vec<Option<f64>> {
            survey.pipes().map(|view| line_length(crs, &view.course()?, exchanged)).collect()
        };
        let mut map_lengths = Self {
            lengths: lengths(false),
            fit: majority(crs, survey.head, 1.0),
            ..Self::default()
        };
        if map_lengths.fit == Some(Fit::Inside) {
            map_lengths.outliers = outliers(crs, survey.head);
            map_lengths.exclude_outliers(survey);
        }
        if crs.kind() == CrsKind::Geographic {
            // If both orders are possible, only lengths can tell: a degree of longitude is shorter
            // than one of latitude.
            let close = |lengths: &[Option<f64>]| {
                let near = ratios(survey, lengths)
                    .iter()
                    .filter(|ratio| (0.97..=1.03).contains(*ratio))
                    .count();
                near >= MIN_RECORDS && four_in_five(near, ratios(survey, lengths).len())
            };
            let other = lengths(true);
            map_lengths.exchanged = map_lengths.fit == Some(Fit::Slip(Slip::Swapped))
                || !close(&map_lengths.lengths) && close(&other);
            if map_lengths.exchanged {
                map_lengths.lengths = other;
            }
        }
        map_lengths.vote = vote(&ratios(survey, &map_lengths.lengths));
        // Swapped feet may be inside the area of a metric system of a whole zone as well; lengths
        // do not depend on the order.
        if let (Some(Fit::Slip(Slip::Swapped)), Some(vote), CrsKind::Projected) =
            (map_lengths.fit, map_lengths.vote, crs.kind())
        {
            let slip = unit_slip(crs, vote.ratio)
                .filter(|_| majority(crs, survey.head, vote.ratio) == Some(Fit::Inside));
            map_lengths.fit = slip.map(Fit::Slip).or(map_lengths.fit);
        }
        map_lengths.wrong_unit = map_lengths.find_wrong_unit(crs, survey);
        map_lengths
    }

    /// Drops the lengths that depend on an outlying position.
    fn exclude_outliers(&mut self, survey: &Survey<'_>) {
        if self.outliers.is_empty() {
            return;
        }
        for view in survey.pipes() {
            let path = view.pipe.path.len() >= 2;
            let over = |place: &PositionRef| match *place {
                PositionRef::Vertex(row, _) => row == view.index,
                PositionRef::Structure(row) => !path && self.is_end(&view, row),
                PositionRef::Locate(_) => false,
            };
            if self.outliers.iter().any(|(place, _)| over(place)) {
                self.lengths[view.index] = None;
            }
        }
    }

    fn is_end(&self, view: &PipeView<'_>, structure: usize) -> bool {
        let id = &view.survey.head.structures[structure].id;
        view.pipe.upstream == *id || view.pipe.downstream.as_ref() == Some(id)
    }

    /// What is in the wrong unit if recorded and measured lengths differ by a unit.
    fn find_wrong_unit(&self, crs: &Crs, survey: &Survey<'_>) -> Option<WrongUnit> {
        if let Some(Fit::Slip(slip @ (Slip::Feet | Slip::Metres))) = self.fit {
            return Some(WrongUnit::Positions(slip));
        }
        let ratio = self.vote.map(|vote| vote.ratio).filter(|ratio| *ratio != 1.0)?;
        let Some(slip) = unit_slip(crs, ratio) else { return Some(WrongUnit::Lengths) };
        // Positions that are inside the area of use as they are, and would not be in the other
        // unit, are right. If both are possible, the depths of the structures decide, which have
        // the same unit as the pipes.
        let either = majority(crs, survey.head, ratio) == Some(Fit::Inside);
        let right = self.fit == Some(Fit::Inside) && (!either || depths_confirm(survey, ratio));
        // Positions that are outside in either unit belong to another system:
        // `position-outside-area`.
        if !either && matches!(self.fit, Some(Fit::Outside { .. })) {
            return None;
        }
        Some(if right { WrongUnit::Lengths } else { WrongUnit::Positions(slip) })
    }

    /// The length of a pipe on the map in metres, by the reference system.
    pub(crate) fn length_on_map(&self, pipe: usize) -> Option<f64> {
        self.lengths.get(pipe).copied().flatten()
    }

    /// The length of a pipe on the map in metres, in the unit that fits most recorded lengths.
    pub(crate) fn fitted_length(&self, pipe: usize) -> Option<f64> {
        let factor = self.vote.map_or_else(|| self.slip_factor(), |vote| vote.ratio);
        Some(self.length_on_map(pipe)? * factor)
    }

    /// Metres on the ground per measured metre, if the positions are in another unit than the
    /// system's.
    pub(crate) fn position_factor(&self, crs: &Crs) -> f64 {
        match self.vote {
            _ if self.wrong_unit == Some(WrongUnit::Lengths) => 1.0,
            Some(vote) if unit_slip(crs, vote.ratio).is_some() => vote.ratio,
            _ => self.slip_factor(),
        }
    }

    fn slip_factor(&self) -> f64 {
        match self.fit {
            Some(Fit::Slip(Slip::Feet)) => FOOT_METRES,
            Some(Fit::Slip(Slip::Metres)) => 1.0 / FOOT_METRES,
            _ => 1.0,
        }
    }

    /// The distance of two positions in metres, by the reference system.
    pub(crate) fn distance(&self, crs: &Crs, from: Position, to: Position) -> Option<f64> {
        line_length(crs, &[from.into(), to.into()], self.exchanged)
    }

    /// How far the first and the last vertex of a pipe's path are from its structures, in metres.
    pub(crate) fn end_gaps(&self, view: &PipeView<'_>) -> [Option<f64>; 2] {
        self.gaps_to(view, [view.upstream(), view.downstream()])
    }

    /// How far they are from the structures at the other end.
    pub(crate) fn end_gaps_reversed(&self, view: &PipeView<'_>) -> [Option<f64>; 2] {
        self.gaps_to(view, [view.downstream(), view.upstream()])
    }

    fn gaps_to(&self, view: &PipeView<'_>, ends: [Option<&Structure>; 2]) -> [Option<f64>; 2] {
        let path = &view.pipe.path;
        let (Some(crs), true) = (&view.survey.crs, path.len() >= 2) else { return [None, None] };
        let factor = self.position_factor(crs);
        let gap = |vertex: &Position, end: Option<Position>| {
            Some(self.distance(crs, *vertex, end?)? * factor)
        };
        if self.lengths.get(view.index).is_some_and(Option::is_none) {
            return [None, None];
        }
        let right = |row: Option<&Structure>| {
            let outliers = |id: &str| {
                self.outliers.iter().any(|(place, _)| place.is_structure(view.survey.head, id))
            };
            row.filter(|row| self.outliers.is_empty() || !outliers(&row.id))
                .and_then(|row| row.position)
        };
        let ends = ends.map(right);
        [gap(&path[0], ends[0]), gap(&path[path.len() - 1], ends[1])]
    }
}

/// The ratio of the distances of runs through a whole pipe to the measured lengths.
pub(crate) fn vote_of_runs(ending: &Ending<'_>) -> Option<Vote> {
    let survey = ending.survey;
    let whole =
        ending.runs.iter().filter(|summary| summary.outcome() == Some(OutcomeKind::Reached));
    let ratios: Vec<f64> = whole
        .filter_map(|summary| {
            let course =
                survey.map_lengths().length_on_map(survey.pipe_index(&summary.run.pipe)?)?;
            Some(summary.figures.travelled? / course)
                .filter(|ratio| ratio.is_finite() && *ratio > 0.0)
        })
        .collect();
    vote(&ratios)
}

/// The slip that explains recorded lengths of `ratio` times the measured ones; `None` if no unit of
/// the positions can: positions in a system in feet are not in units of 0.3 feet.
pub(crate) fn unit_slip(crs: &Crs, ratio: f64) -> Option<Slip> {
    match crs.unit() {
        Unit::Metre if ratio == FOOT_METRES => Some(Slip::Feet),
        Unit::Foot | Unit::UsSurveyFoot if ratio == 1.0 / FOOT_METRES => Some(Slip::Metres),
        _ => None,
    }
}

/// How most positions, multiplied by `factor`, fit the area of use; `None` if it is unknown or
/// there is no majority.
pub(crate) fn majority(crs: &Crs, head: &Head, factor: f64) -> Option<Fit> {
    let all = || positions(head).map(|(_, position)| position);
    let step = (all().count() / MAX_SAMPLE).max(1);
    let mut found: Vec<(Fit, usize)> = Vec::new();
    let mut of = 0;
    for position in all().step_by(step) {
        let fit = crs.fit(&[[position.x() * factor, position.y() * factor]]).ok()?;
        of += 1;
        let same =
            |a: &Fit| *a == fit || matches!((a, fit), (Fit::Outside { .. }, Fit::Outside { .. }));
        match found.iter_mut().find(|(known, _)| same(known)) {
            Some((_, count)) => *count += 1,
            None => found.push((fit, 1)),
        }
    }
    found.into_iter().find(|(_, count)| four_in_five(*count, of)).map(|(fit, _)| fit)
}

/// The positions outside the area of use of their reference system.
fn outliers(crs: &Crs, head: &Head) -> Vec<(PositionRef, Position)> {
    let mut all = positions(head).map(|(_, position)| position);
    let Some(first) = all.next() else { return Vec::new() };
    let bounds =
        all.fold([first.x(), first.y(), first.x(), first.y()], |[west, south, east, north], at| {
            [west.min(at.x()), south.min(at.y()), east.max(at.x()), north.max(at.y())]
        });
    let [west, south, east, north] = bounds;
    // If the corners of their bounding box are inside, so are all positions: a survey is small
    // compared with the area of a system.
    let corners = [[west, south], [west, north], [east, south], [east, north]];
    if crs.fit(&corners) == Ok(Fit::Inside) {
        return Vec::new();
    }
    let outside =
        |position: Position| crs.fit(&[position.into()]).is_ok_and(|fit| fit != Fit::Inside);
    positions(head).filter(|(_, position)| outside(*position)).collect()
}

/// Whether the depths of the structures show that lengths are in the other unit: their median is
/// implausible for a sewer as it is, and ordinary in the other unit. Common practice, no published
/// source.
pub(crate) fn depths_confirm(survey: &Survey<'_>, ratio: f64) -> bool {
    const ORDINARY: std::ops::RangeInclusive<f64> = 1.4..=6.5;
    let depth = |row: &Structure| {
        let between = || Some(survey.metres(row.ground?) - survey.metres(row.invert?));
        row.depth.map(|depth| survey.metres(depth)).or_else(between).filter(|metres| *metres > 0.0)
    };
    let manholes = survey.head.structures.iter().filter(|row| row.kind == StructureKind::Manhole);
    let mut depths: Vec<f64> = manholes.filter_map(depth).collect();
    depths.sort_by(f64::total_cmp);
    let median = depths.get(depths.len() / 2).filter(|_| depths.len() >= MIN_RECORDS);
    median.is_some_and(|metres| !ORDINARY.contains(metres) && ORDINARY.contains(&(metres / ratio)))
}

/// Where a position is in a document.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum PositionRef {
    Structure(usize),
    Vertex(usize, usize),
    Locate(usize),
}

impl PositionRef {
    fn is_structure(self, head: &Head, id: &str) -> bool {
        matches!(self, Self::Structure(row) if *head.structures[row].id == *id)
    }

    pub(crate) fn pointer(self) -> String {
        match self {
            Self::Structure(row) => format!("/structures/{row}/position"),
            Self::Vertex(row, vertex) => format!("/pipes/{row}/path/{vertex}"),
            Self::Locate(row) => format!("/locates/{row}/position"),
        }
    }
}

/// Every position of a document.
pub(crate) fn positions(head: &Head) -> impl Iterator<Item = (PositionRef, Position)> {
    let structures = head.structures.iter().enumerate();
    let structures = structures
        .filter_map(|(row, structure)| Some((PositionRef::Structure(row), structure.position?)));
    let vertices = head.pipes.iter().enumerate().flat_map(|(row, pipe)| {
        pipe.path
            .iter()
            .enumerate()
            .map(move |(vertex, position)| (PositionRef::Vertex(row, vertex), *position))
    });
    let locates = head.locates.iter().enumerate();
    let locates =
        locates.filter_map(|(row, locate)| Some((PositionRef::Locate(row), locate.position?)));
    structures.chain(vertices).chain(locates)
}

fn ratios(survey: &Survey<'_>, lengths: &[Option<f64>]) -> Vec<f64> {
    let ratio = |(view, course): (PipeView<'_>, &Option<f64>)| Some(view.metres()? / (*course)?);
    survey
        .pipes()
        .zip(lengths)
        .filter_map(ratio)
        .filter(|ratio| ratio.is_finite() && *ratio > 0.0)
        .collect()
}

/// The length of a line in metres; on the ellipsoid if the map's own lengths are useless.
fn line_length(crs: &Crs, vertices: &[[f64; 2]], exchanged: bool) -> Option<f64> {
    let turned: Vec<[f64; 2]>;
    let vertices = if exchanged {
        turned = vertices.iter().map(|[x, y]| [*y, *x]).collect();
        &turned
    } else {
        vertices
    };
    // Mercator maps of the world stretch lengths by the secant of the latitude.
    let length = match crs.code() {
        3395 | 3857 => crs.ground_length_metres(vertices),
        _ => crs.line_length_metres(vertices),
    };
    length.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_in_five_of_three_make_a_vote() {
        let foot = FOOT_METRES;
        assert_eq!(vote(&[foot, foot]), None);
        assert_eq!(
            vote(&[foot, foot * 1.01, foot * 0.99]),
            Some(Vote { ratio: foot, agree: 3, of: 3 })
        );
        assert_eq!(vote(&[1.0, 1.0, foot]), None);
        assert_eq!(vote(&[1.0, 1.1, 0.9, 1.0, 7.0]), Some(Vote { ratio: 1.0, agree: 4, of: 5 }));
        assert_eq!(vote(&[3.28, 3.3, 3.2]).map(|vote| vote.ratio), Some(1.0 / foot));
        assert_eq!(vote(&[2.0, 2.0, 2.0]), None);
    }

    #[test]
    fn a_unit_explains_one_direction_only() {
        let (metric, feet) = (Crs::from_epsg(2817).unwrap(), Crs::from_epsg(6547).unwrap());
        assert_eq!(unit_slip(&metric, FOOT_METRES), Some(Slip::Feet));
        assert_eq!(unit_slip(&metric, 1.0 / FOOT_METRES), None);
        assert_eq!(unit_slip(&feet, 1.0 / FOOT_METRES), Some(Slip::Metres));
        assert_eq!(unit_slip(&feet, FOOT_METRES), None);
    }

    #[test]
    fn world_mercator_is_measured_on_the_ground() {
        // One second of longitude at 60 degrees north on WGS 84: 15.4990 m by geographiclib's
        // formula, 30.922 m on the map.
        let crs = Crs::from_epsg(3857).unwrap();
        let ends =
            [[0.0, 60.0], [1.0 / 3600.0, 60.0]].map(|lonlat| crs.from_wgs84(lonlat).unwrap());
        let metres = line_length(&crs, &ends, false).unwrap();
        assert!((metres - 15.5).abs() < 0.05, "{metres}");
    }
}
