//! Strongly connected blocks: who moves whom, and back.

/// The strongly connected components of a directed graph, each in ascending order, the first by its first member (Tarjan's
/// method, from memory, without recursion).
pub(crate) fn strongly_connected(towards: &[Vec<usize>]) -> Vec<Vec<usize>> {
    const UNSEEN: usize = usize::MAX;
    let count = towards.len();
    let (mut order, mut low, mut on_stack) =
        (vec![UNSEEN; count], vec![0; count], vec![false; count]);
    let (mut stack, mut blocks, mut next) = (Vec::new(), Vec::new(), 0);
    for start in 0..count {
        if order[start] != UNSEEN {
            continue;
        }
        let mut walk = vec![(start, 0)];
        while let Some((at, done)) = walk.pop() {
            if done == 0 {
                (order[at], low[at]) = (next, next);
                next += 1;
                stack.push(at);
                on_stack[at] = true;
            }
            if let Some(&to) = towards[at].get(done) {
                walk.push((at, done + 1));
                if order[to] == UNSEEN {
                    walk.push((to, 0));
                } else if on_stack[to] {
                    low[at] = low[at].min(order[to]);
                }
                continue;
            }
            if low[at] == order[at] {
                let begin = stack.iter().rposition(|it| *it == at).unwrap_or(0);
                let mut block = stack.split_off(begin);
                block.iter().for_each(|it| on_stack[*it] = false);
                block.sort_unstable();
                blocks.push(block);
            }
            if let Some((above, _)) = walk.last() {
                low[*above] = low[*above].min(low[at]);
            }
        }
    }
    blocks.sort_unstable();
    blocks
}

/// Which nodes can be reached from these, themselves included.
pub(crate) fn reached(towards: &[Vec<usize>], from: impl IntoIterator<Item = usize>) -> Vec<bool> {
    let mut seen = vec![false; towards.len()];
    let mut waiting: Vec<usize> = from.into_iter().collect();
    while let Some(at) = waiting.pop() {
        if !std::mem::replace(&mut seen[at], true) {
            waiting.extend(&towards[at]);
        }
    }
    seen
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rings_are_blocks_and_chains_fall_apart() {
        let graph = [
            vec![1],
            vec![2],
            vec![0, 3],
            vec![4],
            vec![4],
            vec![6],
            vec![5, 0],
        ];
        assert_eq!(
            strongly_connected(&graph),
            [vec![0, 1, 2], vec![3], vec![4], vec![5, 6]]
        );
        assert_eq!(
            reached(&graph, [3]),
            [false, false, false, true, true, false, false]
        );
    }
}
