//! The pipes of a line, and those that differ from all their neighbours.

use obvert_model::tables::Pipe;
use rustc_hash::FxHashMap;

use crate::views::{PipeView, Survey};

/// How many equal neighbours a pipe must differ from.
const NEIGHBOURS: usize = 3;

/// Pipes that differ from their neighbours along the line: one comes in at the upper end and one
/// goes out at the lower end, and at least three of the next pipes of the line, on both sides, are
/// equal by `same`. `known` says whether a pipe can be compared.
pub(crate) fn odd_ones<'d>(
    survey: &'d Survey<'_>,
    known: impl Fn(&Pipe) -> bool,
    same: impl Fn(&Pipe, &Pipe) -> bool,
) -> Vec<(PipeView<'d>, &'d Pipe)> {
    let pipes = &survey.head.pipes;
    let mut into: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    let mut out_of: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    for (index, pipe) in pipes.iter().enumerate() {
        if let Some(lower) = &pipe.downstream {
            into.entry(lower.as_str()).or_default().push(index);
            out_of.entry(pipe.upstream.as_str()).or_default().push(index);
        }
    }
    let only = |places: Option<&Vec<usize>>| match places.map(Vec::as_slice) {
        Some([one]) => Some(*one),
        _ => None,
    };
    // The only pipe above or below another, if it is the only one on that side.
    let above = |index: usize| only(into.get(pipes[index].upstream.as_str()));
    let below = |index: usize| {
        let lower = pipes[index].downstream.as_ref()?;
        only(into.get(lower.as_str()))?;
        only(out_of.get(lower.as_str()))
    };
    let mut found = Vec::new();
    for view in survey.pipes() {
        let index = view.index;
        let alone = only(out_of.get(view.pipe.upstream.as_str())).is_some();
        let (Some(up), Some(down)) = (above(index), below(index)) else { continue };
        if !alone || !known(view.pipe) || !known(&pipes[up]) || same(view.pipe, &pipes[up]) {
            continue;
        }
        let equal = |other: usize| {
            other != index && known(&pipes[other]) && same(&pipes[up], &pipes[other])
        };
        let around = [Some(up), Some(down), above(up), below(down)];
        let neighbours = around.into_iter().flatten().filter(|other| equal(*other)).count();
        if equal(down) && neighbours >= NEIGHBOURS {
            found.push((view, &pipes[up]));
        }
    }
    found
}
