//! What was computed lately: nights are asked for again and again while somebody changes a word, and stay as they are.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

/// Answers that are kept, the newest first. The same question has the same answer, so nobody sees whether one was kept.
pub(crate) struct Lately<K, V> {
    most: usize,
    kept: Mutex<VecDeque<(K, Arc<V>)>>,
}

impl<K: PartialEq, V> Lately<K, V> {
    /// Room for so many answers.
    pub(crate) const fn new(most: usize) -> Self {
        Self { most, kept: Mutex::new(VecDeque::new()) }
    }

    /// The answer that is kept, or that `compute` gives now.
    pub(crate) fn get<E>(&self, key: K, compute: impl FnOnce(&K) -> Result<V, E>) -> Result<Arc<V>, E> {
        let found = self.locked(|kept| kept.iter().find(|(own, _)| *own == key).map(|(_, value)| Arc::clone(value)));
        if let Some(value) = found {
            return Ok(value);
        }
        // Nobody waits for it; two who ask at once compute the same.
        let value = Arc::new(compute(&key)?);
        self.locked(|kept| {
            kept.truncate(self.most - 1);
            kept.push_front((key, Arc::clone(&value)));
        });
        Ok(value)
    }

    fn locked<T>(&self, act: impl FnOnce(&mut VecDeque<(K, Arc<V>)>) -> T) -> T {
        act(&mut self.kept.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

#[cfg(test)]
mod tests {
    use std::convert::Infallible;

    use super::*;

    #[test]
    fn what_was_asked_lately_is_not_computed_again_and_room_is_bounded() {
        let lately = Lately::new(3);
        let computed = Mutex::new(Vec::new());
        let square = |key: u32| {
            let compute = |key: &u32| {
                computed.lock().unwrap().push(*key);
                Ok::<_, Infallible>(key * key)
            };
            *lately.get(key, compute).unwrap()
        };
        for key in [2, 3, 2, 4, 3, 5, 2] {
            assert_eq!(square(key), key * key);
        }
        // 2 had to make room for 5.
        assert_eq!(*computed.lock().unwrap(), [2, 3, 4, 5, 2]);
        assert_eq!(lately.kept.lock().unwrap().len(), 3);
    }

    #[test]
    fn an_error_is_not_kept() {
        let lately: Lately<u8, u8> = Lately::new(2);
        assert_eq!(lately.get(1, |_| Err("no")).unwrap_err(), "no");
        assert_eq!(*lately.get(1, |_| Ok::<_, &str>(9)).unwrap(), 9);
    }
}
