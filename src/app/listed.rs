//! Lists of a report that may be cut: the first lines, and how many there are in all.

use std::collections::BinaryHeap;

use serde::Serialize;

/// The first lines of a list, or all of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Listed<T> {
    lines: Vec<T>,
    #[serde(skip)]
    all: usize,
}

impl<T> Default for Listed<T> {
    fn default() -> Self {
        Self { lines: Vec::new(), all: 0 }
    }
}

impl<T> From<Vec<T>> for Listed<T> {
    fn from(lines: Vec<T>) -> Self {
        Self { all: lines.len(), lines }
    }
}

impl<T> Listed<T> {
    /// The lines that are shown.
    pub fn lines(&self) -> &[T] {
        &self.lines
    }

    /// How many lines there are in all.
    pub const fn all(&self) -> usize {
        self.all
    }

    /// How many are not shown.
    pub fn more(&self) -> usize {
        self.all.saturating_sub(self.lines.len())
    }

    /// True where there is none at all.
    pub const fn is_empty(&self) -> bool {
        self.all == 0
    }

    /// The lines that are shown, one by one.
    pub fn iter(&self) -> std::slice::Iter<'_, T> {
        self.lines.iter()
    }
}

impl<'a, T> IntoIterator for &'a Listed<T> {
    type Item = &'a T;
    type IntoIter = std::slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.lines.iter()
    }
}

/// The first of many by their order: so many at most, where a number is given.
#[derive(Debug)]
pub(crate) struct Top<K> {
    most: Option<usize>,
    first: BinaryHeap<K>,
    all: usize,
}

impl<K: Ord> Default for Top<K> {
    fn default() -> Self {
        Self::of(None)
    }
}

impl<K: Ord> Top<K> {
    pub(crate) const fn of(most: Option<usize>) -> Self {
        Self { most, first: BinaryHeap::new(), all: 0 }
    }

    pub(crate) fn push(&mut self, key: K) {
        self.all += 1;
        if self.most.is_none_or(|most| self.first.len() < most) {
            self.first.push(key);
        } else if let Some(mut last) = self.first.peek_mut()
            && key < *last
        {
            *last = key;
        }
    }

    /// The lines of the first, in order.
    pub(crate) fn listed<T, E>(
        self,
        mut line: impl FnMut(&K) -> Result<Option<T>, E>,
    ) -> Result<Listed<T>, E> {
        let (mut lines, mut all) = (Vec::new(), self.all);
        for key in self.first.into_sorted_vec() {
            match line(&key)? {
                Some(line) => lines.push(line),
                None => all -= 1,
            }
        }
        Ok(Listed { lines, all })
    }
}

impl<K: Ord> Extend<K> for Top<K> {
    fn extend<I: IntoIterator<Item = K>>(&mut self, keys: I) {
        for key in keys {
            self.push(key);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn listed(most: Option<usize>) -> Listed<u32> {
        let mut top = Top::of(most);
        top.extend([5, 3, 9, 1, 7, 3]);
        top.listed(|key| Ok::<_, ()>(Some(*key))).unwrap()
    }

    #[test]
    fn the_first_are_kept_and_all_are_counted() {
        assert_eq!((listed(None).lines(), listed(None).more()), (&[1, 3, 3, 5, 7, 9][..], 0));
        assert_eq!((listed(Some(3)).lines(), listed(Some(3)).all()), (&[1, 3, 3][..], 6));
        assert_eq!((listed(Some(0)).lines(), listed(Some(0)).more()), (&[][..], 6));
    }
}
