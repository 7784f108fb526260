//! The one writer of standard output.
//!
//! Answers and requests wait for a free place, so that a client that reads nothing makes their producers wait, and no one
//! else. Diagnostics have one slot a file: newer ones replace those not yet written, so they are never old and never many.

use std::collections::{HashMap, VecDeque};
use std::io::Write;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use serde_json::Value;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::frame;

/// Messages that may wait before their producers have to.
const PLACES: usize = 64;

/// What is to be written, in order.
pub(crate) struct Outbox {
    queue: Mutex<Queue>,
    bell: Condvar,
    places: Arc<Semaphore>,
}

#[derive(Default)]
struct Queue {
    items: VecDeque<Item>,
    /// The newest diagnostics of each file that waits in `items`.
    slots: HashMap<String, Value>,
    /// A message was taken out and is being written.
    writing: bool,
    /// The client no longer reads.
    broken: bool,
}

enum Item {
    Message(Value, Option<OwnedSemaphorePermit>),
    Slot(String),
}

impl Outbox {
    /// An empty one.
    pub(crate) fn new() -> Outbox {
        Outbox {
            queue: Mutex::default(),
            bell: Condvar::new(),
            places: Arc::new(Semaphore::new(PLACES)),
        }
    }

    /// Queues a message as soon as there is a place.
    pub(crate) async fn send(&self, message: Value) {
        // The semaphore is never closed; without a permit the message goes all the same.
        let permit = self.places.clone().acquire_owned().await.ok();
        self.push(|queue| queue.items.push_back(Item::Message(message, permit)));
    }

    /// Queues a message at once: for the reader, which never waits.
    pub(crate) fn send_now(&self, message: Value) {
        self.push(|queue| queue.items.push_back(Item::Message(message, None)));
    }

    /// Queues a file's diagnostics, in place of those that still wait.
    pub(crate) fn publish(&self, file: &str, message: Value) {
        self.push(|queue| {
            if queue.slots.insert(file.to_string(), message).is_none() {
                queue.items.push_back(Item::Slot(file.to_string()));
            }
        });
    }

    /// Writes what comes, until the client no longer reads.
    pub(crate) fn write_to(&self, output: &mut impl Write) {
        loop {
            let (message, _permit) = self.take();
            let written = frame::write(output, &message);
            let mut queue = self.lock();
            queue.writing = false;
            queue.broken = written.is_err();
            self.bell.notify_all();
            if queue.broken {
                return;
            }
        }
    }

    /// Waits until everything is written, or can't be, or `patience` is over.
    pub(crate) fn drain(&self, patience: Duration) {
        let until = Instant::now() + patience;
        let mut queue = self.lock();
        while !queue.broken && (queue.writing || !queue.items.is_empty()) {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return;
            }
            queue = self
                .bell
                .wait_timeout(queue, left)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }

    fn take(&self) -> (Value, Option<OwnedSemaphorePermit>) {
        let mut queue = self.lock();
        loop {
            match queue.items.pop_front() {
                Some(Item::Message(message, permit)) => {
                    queue.writing = true;
                    return (message, permit);
                }
                Some(Item::Slot(file)) => {
                    if let Some(message) = queue.slots.remove(&file) {
                        queue.writing = true;
                        return (message, None);
                    }
                }
                None => {
                    queue = self
                        .bell
                        .wait(queue)
                        .unwrap_or_else(PoisonError::into_inner)
                }
            }
        }
    }

    fn push(&self, change: impl FnOnce(&mut Queue)) {
        change(&mut self.lock());
        self.bell.notify_all();
    }

    fn lock(&self) -> MutexGuard<'_, Queue> {
        // A queue is whole between any two of its changes.
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn diagnostics_that_wait_are_replaced_and_messages_are_not() {
        let outbox = Outbox::new();
        outbox.publish("a", json!("a1"));
        outbox.send_now(json!("m1"));
        outbox.publish("b", json!("b1"));
        outbox.publish("a", json!("a2"));
        outbox.send_now(json!("m2"));
        let taken: Vec<_> = (0..4).map(|_| outbox.take().0).collect();
        assert_eq!(taken, ["a2", "m1", "b1", "m2"]);
    }

    #[test]
    fn only_producers_wait_for_a_client_that_reads_nothing() {
        let outbox = Outbox::new();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build()
            .unwrap();
        runtime.block_on(async {
            for _ in 0..PLACES {
                outbox.send(json!(0)).await;
            }
            let full = tokio::time::timeout(Duration::from_millis(20), outbox.send(json!(1))).await;
            assert!(
                full.is_err(),
                "the message after the last place has to wait"
            );
            outbox.send_now(json!(2));
            outbox.take();
            outbox.send(json!(3)).await;
        });
    }
}
