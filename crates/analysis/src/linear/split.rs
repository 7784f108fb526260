//! Splitting equations into blocks that can be solved one after the other.
//!
//! A maximum matching gives rows to unknowns; what an unmatched unknown reaches by alternating paths is not fixed by any
//! values (the coarse decomposition of Dulmage and Mendelsohn); of the rest the strongly connected components, in the
//! order in which they need each other, are the blocks of the block triangular form. From memory: Dulmage & Mendelsohn
//! 1958; Tarjan 1972; the matching with its look-ahead is that of Duff 1981.

/// As many rows as unknowns, solved together.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Block {
    /// Row `k` is matched to `unknowns[k]`.
    pub rows: Vec<usize>,
    /// The unknowns.
    pub unknowns: Vec<usize>,
}

/// The blocks in the order of solving; each needs only unknowns of those before it. `pattern` holds each row's unknowns.
/// Rows stand in order of rank: where there are too many, a later one is left out.
pub(super) fn split(pattern: &[Vec<u32>], unknowns: usize) -> Vec<Block> {
    let row_of = matching(pattern, unknowns);
    let loose = reached_from_free(pattern, &row_of);
    components(pattern, &row_of, &loose)
}

const NONE: u32 = u32::MAX;

/// The row matched to each unknown, or `NONE`. Rows are tried in order, and one that was matched stays matched, so the
/// matched rows are the first ones that can be.
fn matching(pattern: &[Vec<u32>], unknowns: usize) -> Vec<u32> {
    let mut row_of = vec![NONE; unknowns];
    // An unknown that was free may be matched, never freed: looking ahead for a free one need not begin anew.
    let mut ahead = vec![0usize; pattern.len()];
    // The last search that came by. After a failed search its unknowns are of no use to any later one: they keep `NONE`.
    let mut visited = vec![0u32; unknowns];
    for start in 0..pattern.len() {
        let search = start as u32 + 1;
        // The path: rows, with the position in each that is being tried.
        let mut path = vec![(start, 0usize)];
        let mut found = None;
        let mut seen = Vec::new();
        while let Some((row, next)) = path.last_mut() {
            let terms = &pattern[*row];
            while ahead[*row] < terms.len() && row_of[terms[ahead[*row]] as usize] != NONE {
                ahead[*row] += 1;
            }
            if ahead[*row] < terms.len() {
                found = Some(terms[ahead[*row]]);
                break;
            }
            match terms.get(*next) {
                Some(&unknown) => {
                    *next += 1;
                    let mark = &mut visited[unknown as usize];
                    if *mark != search && *mark != NONE {
                        *mark = search;
                        seen.push(unknown);
                        path.push((row_of[unknown as usize] as usize, 0));
                    }
                }
                None => {
                    path.pop();
                }
            }
        }
        match found {
            // The last row takes the free unknown, each row before it the one that its successor gives up.
            Some(free) => {
                for (back, (row, next)) in path.into_iter().rev().enumerate() {
                    let unknown = if back == 0 {
                        free
                    } else {
                        pattern[row][next - 1]
                    };
                    row_of[unknown as usize] = row as u32;
                }
            }
            None => seen
                .into_iter()
                .for_each(|unknown| visited[unknown as usize] = NONE),
        }
    }
    row_of
}

/// The unknowns that alternating paths from a free one reach: free ones, and those matched to a row that holds a reached one.
fn reached_from_free(pattern: &[Vec<u32>], row_of: &[u32]) -> Vec<bool> {
    let mut reached: Vec<bool> = row_of.iter().map(|&row| row == NONE).collect();
    let mut queue: Vec<u32> = (0..row_of.len() as u32)
        .filter(|&it| reached[it as usize])
        .collect();
    if queue.is_empty() {
        return reached;
    }
    let mut matched = vec![NONE; pattern.len()];
    for (unknown, &row) in row_of.iter().enumerate() {
        if row != NONE {
            matched[row as usize] = unknown as u32;
        }
    }
    let mut rows_of = vec![Vec::new(); row_of.len()];
    for (row, terms) in pattern.iter().enumerate() {
        for &unknown in terms {
            rows_of[unknown as usize].push(row as u32);
        }
    }
    while let Some(unknown) = queue.pop() {
        for &row in &rows_of[unknown as usize] {
            let next = matched[row as usize];
            if next != NONE && !reached[next as usize] {
                reached[next as usize] = true;
                queue.push(next);
            }
        }
    }
    reached
}

/// Strongly connected components of "unknown's row holds unknown", those that need nothing first.
fn components(pattern: &[Vec<u32>], row_of: &[u32], loose: &[bool]) -> Vec<Block> {
    let count = row_of.len();
    let mut order = vec![0u32; count]; // when first seen, from 1
    let mut low = vec![0u32; count];
    let mut open = vec![false; count];
    let mut stack = Vec::new();
    let mut clock = 0;
    let mut blocks = Vec::new();
    for root in 0..count as u32 {
        if loose[root as usize] || order[root as usize] != 0 {
            continue;
        }
        let mut calls = vec![(root, 0usize)];
        while let Some((unknown, next)) = calls.last_mut() {
            let at = *unknown as usize;
            if *next == 0 {
                clock += 1;
                order[at] = clock;
                low[at] = clock;
                open[at] = true;
                stack.push(*unknown);
            }
            if let Some(&needed) = pattern[row_of[at] as usize].get(*next) {
                *next += 1;
                if order[needed as usize] == 0 {
                    calls.push((needed, 0));
                } else if open[needed as usize] {
                    low[at] = low[at].min(order[needed as usize]);
                }
                continue;
            }
            if low[at] == order[at] {
                let from = stack.iter().rposition(|&it| it as usize == at).unwrap_or(0);
                let mut unknowns: Vec<usize> = stack.drain(from..).map(|it| it as usize).collect();
                unknowns.iter().for_each(|&it| open[it] = false);
                unknowns.sort_unstable();
                blocks.push(Block {
                    rows: unknowns.iter().map(|&it| row_of[it] as usize).collect(),
                    unknowns,
                });
            }
            let finished = low[at];
            calls.pop();
            if let Some((caller, _)) = calls.last() {
                let caller = *caller as usize;
                low[caller] = low[caller].min(finished);
            }
        }
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::expect;

    fn blocks(pattern: &[&[u32]], unknowns: usize) -> String {
        let pattern: Vec<Vec<u32>> = pattern.iter().map(|it| it.to_vec()).collect();
        split(&pattern, unknowns)
            .iter()
            .map(|it| format!("{:?} by {:?}\n", it.unknowns, it.rows))
            .collect()
    }

    #[test]
    fn a_chain_is_solved_from_its_known_end() {
        expect![[r#"
            [0] by [2]
            [1] by [1]
            [2] by [0]
        "#]]
        .assert_eq(&blocks(&[&[1, 2], &[0, 1], &[0]], 3));
    }

    #[test]
    fn a_knot_stays_together() {
        expect![[r#"
            [0, 1] by [0, 1]
            [2] by [2]
        "#]]
        .assert_eq(&blocks(&[&[0, 1], &[0, 1], &[0, 2]], 3));
    }

    #[test]
    fn rows_too_many_and_too_few_leave_the_rest_alone() {
        // 0 and 1 have three rows, of which the last is left out; 3 and 4 have one; 2 has its own.
        expect![[r#"
            [0] by [0]
            [1] by [1]
            [2] by [3]
        "#]]
        .assert_eq(&blocks(&[&[0], &[1], &[0, 1], &[1, 2], &[2, 3, 4]], 5));
    }

    proptest::proptest! {
        /// Against trying all subsets of rows: as many are matched as any choice allows, and each block needs only earlier ones.
        #[test]
        fn blocks_are_ordered_and_complete(bits in proptest::collection::vec(0u32..64, 6)) {
            let pattern: Vec<Vec<u32>> = bits.iter().map(|row| (0..6).filter(|it| row >> it & 1 == 1).collect()).collect();
            let row_of = matching(&pattern, 6);
            let matched = row_of.iter().filter(|&&it| it != NONE).count();
            // König: the greatest matching is the least, over sets of rows, of neighbours + rows outside.
            let best = (0..64u32).map(|set| {
                let near = (0..6).filter(|row| set >> row & 1 == 1).fold(0, |near, row| near | bits[row]);
                (near.count_ones() + 6 - set.count_ones()) as usize
            }).min().unwrap();
            proptest::prop_assert_eq!(matched, best);
            let mut known = [false; 6];
            for block in split(&pattern, 6) {
                block.unknowns.iter().for_each(|&it| known[it] = true);
                for &row in &block.rows {
                    proptest::prop_assert!(pattern[row].iter().all(|&it| known[it as usize]));
                }
            }
            if best == 6 {
                proptest::prop_assert!(known.iter().all(|&it| it));
            }
        }
    }
}
