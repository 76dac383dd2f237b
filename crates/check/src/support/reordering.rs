//! Edits that put the rows of a run in order. Rows are moved but not changed, and as few as possible
//! are moved, so that a person can follow the change.
//!
//! A falling distance can be a row in the wrong place or a wrong distance. An order is offered only
//! if something besides the distances confirms it: the numbers of the rows or the times in a video.

use std::collections::BTreeMap;

use obvert_model::edit::Edit;

use crate::views::RunView;

/// The largest run that is reordered. In a larger one the moves would be too many to follow.
const MAX_ROWS: usize = 5_000;

/// The moves that put the rows of a run into order of distance, if that order is confirmed. Rows at
/// one distance keep their order.
pub(crate) fn by_distance(run: &RunView<'_>) -> Option<Vec<Edit>> {
    let rows = &run.run.observations;
    let mut wanted: Vec<usize> = (0..rows.len().min(MAX_ROWS + 1)).collect();
    if wanted.len() > MAX_ROWS {
        return None;
    }
    wanted.sort_by(|a, b| rows[*a].at.get().total_cmp(&rows[*b].at.get()));
    confirmed(run, &wanted).then(|| as_edits(run, &moves(&wanted)))
}

/// The moves that reverse the rows of a run, including those at one distance, and whether the
/// reversed order is confirmed.
pub(crate) fn reversed(run: &RunView<'_>) -> Option<(Vec<Edit>, bool)> {
    let last = run.run.observations.len().checked_sub(1).filter(|last| *last < MAX_ROWS)?;
    let moves: Vec<_> = (0..last).map(|place| (last, place)).collect();
    let wanted: Vec<usize> = (0..=last).rev().collect();
    Some((as_edits(run, &moves), confirmed(run, &wanted)))
}

/// The move of one row to the place among its neighbours where its distance belongs, if that place
/// is confirmed.
pub(crate) fn into_place(run: &RunView<'_>, index: usize) -> Option<Vec<Edit>> {
    let rows = &run.run.observations;
    let at = rows[index].at;
    let back = rows[..index].iter().rev().take_while(|row| row.at > at).count();
    let on = rows[index + 1..].iter().take_while(|row| row.at < at).count();
    let to = if back > 0 { index - back } else { index + on };
    if rows.len() > MAX_ROWS {
        return None;
    }
    let mut wanted: Vec<usize> = (0..rows.len()).collect();
    let item = wanted.remove(index);
    wanted.insert(to, item);
    confirmed(run, &wanted).then(|| as_edits(run, &[(index, to)]))
}

/// Whether an order of the rows, a list of current indices, is confirmed by something besides
/// the distances: the ids are numbers that rise in it, or the offsets into each video do, which fall in
/// the current order, and every row that moves has one.
fn confirmed(run: &RunView<'_>, wanted: &[usize]) -> bool {
    let rows = &run.run.observations;
    let id = |row: &usize| rows[*row].id.parse::<u32>().ok();
    let ids: Option<Vec<u32>> = wanted.iter().map(id).collect();
    if ids.is_some_and(|ids| ids.windows(2).all(|pair| pair[0] < pair[1])) {
        return true;
    }
    let timed = |row: usize| rows[row].media.iter().any(|media| media.offset.is_some());
    let stays = longest_rising(wanted);
    (0..rows.len()).all(|row| stays[row] || timed(row))
        && offsets_rise(run, wanted.iter().copied())
        && !offsets_rise(run, 0..rows.len())
}

/// Whether no offset into a video is lower than the one before it into the same video.
fn offsets_rise(run: &RunView<'_>, order: impl Iterator<Item = usize>) -> bool {
    let mut last: BTreeMap<&str, f64> = BTreeMap::new();
    for row in order {
        for media in &run.run.observations[row].media {
            let Some(offset) = media.offset.map(|offset| offset.get()) else { continue };
            if last.insert(&media.id, offset).is_some_and(|before| before > offset) {
                return false;
            }
        }
    }
    true
}

fn as_edits(run: &RunView<'_>, moves: &[(usize, usize)]) -> Vec<Edit> {
    let list = run.subject("/observations").path;
    moves
        .iter()
        .map(|(from, to)| Edit::relocate(format!("{list}/{from}"), format!("{list}/{to}")))
        .collect()
}

/// The fewest moves of one item each that give the order `wanted`, a list of current indices.
fn moves(wanted: &[usize]) -> Vec<(usize, usize)> {
    let stays = longest_rising(wanted);
    let mut current: Vec<usize> = (0..wanted.len()).collect();
    let mut moves = Vec::new();
    for (place, item) in wanted.iter().enumerate() {
        if stays[*item] {
            continue;
        }
        let Some(from) = current.iter().position(|one| one == item) else { continue };
        current.remove(from);
        // The preceding item is already in place, so this one is inserted after it.
        let before = place.checked_sub(1).map(|before| wanted[before]);
        let to = before
            .and_then(|before| current.iter().position(|one| *one == before))
            .map_or(0, |at| at + 1);
        current.insert(to, *item);
        moves.push((from, to));
    }
    moves
}

/// For every item, whether it can stay: whether it is in a longest rising sequence.
fn longest_rising(values: &[usize]) -> Vec<bool> {
    let mut ends: Vec<usize> = Vec::new();
    let mut before: Vec<Option<usize>> = vec![None; values.len()];
    for (index, value) in values.iter().enumerate() {
        let length = ends.partition_point(|end| values[*end] < *value);
        before[index] = length.checked_sub(1).map(|shorter| ends[shorter]);
        if length == ends.len() {
            ends.push(index);
        } else {
            ends[length] = index;
        }
    }
    let mut stays = vec![false; values.len()];
    let mut at = ends.last().copied();
    while let Some(index) = at {
        stays[values[index]] = true;
        at = before[index];
    }
    stays
}

#[cfg(test)]
mod tests {
    use super::moves;

    #[test]
    fn moves_are_few_and_bring_order() {
        let cases: [(&[usize], usize); 6] = [
            (&[], 0),
            (&[0, 1, 2], 0),
            (&[1, 2, 3, 0], 1),
            (&[3, 0, 1, 2], 1),
            (&[2, 1, 0], 2),
            (&[1, 0, 3, 2, 5, 4], 3),
        ];
        for (wanted, fewest) in cases {
            let moves = moves(wanted);
            let mut current: Vec<usize> = (0..wanted.len()).collect();
            for (from, to) in &moves {
                let item = current.remove(*from);
                current.insert(*to, item);
            }
            assert_eq!((current.as_slice(), moves.len()), (wanted, fewest));
        }
    }
}
