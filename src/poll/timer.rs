//! The one timer of a link: until a round is due, then until it must be over.

use std::future::poll_fn;
use std::pin::{Pin, pin};
use std::time::Duration;
use tokio::time::{Instant, Sleep, sleep};

/// It is set anew, never made anew: setting it later, as each answer does, takes no lock of the runtime's.
#[derive(Debug)]
pub(super) struct Timer(Pin<Box<Sleep>>);

impl Timer {
    pub(super) fn new() -> Timer {
        Timer(Box::pin(sleep(Duration::ZERO)))
    }

    /// Waits so long.
    pub(super) async fn wait(&mut self, time: Duration) {
        self.0.as_mut().reset(Instant::now() + time);
        self.0.as_mut().await;
    }

    /// What the work gives, unless it takes longer.
    pub(super) async fn within<T>(&mut self, time: Duration, work: impl Future<Output = T>) -> Option<T> {
        self.0.as_mut().reset(Instant::now() + time);
        let mut work = pin!(work);
        poll_fn(|context| match work.as_mut().poll(context).map(Some) {
            std::task::Poll::Pending => self.0.as_mut().poll(context).map(|()| None),
            done => done,
        })
        .await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn it_ends_what_takes_too_long_and_serves_again() {
        let (mut timer, begun, ms) = (Timer::new(), Instant::now(), Duration::from_millis);
        for round in 1..=3 {
            assert_eq!(timer.within(ms(60_000), async { 7 }).await, Some(7));
            assert_eq!(timer.within(ms(60_000), sleep(ms(1))).await, Some(()));
            assert_eq!(timer.within(ms(5), std::future::pending::<()>()).await, None);
            timer.wait(ms(4)).await;
            let past = begun.elapsed();
            assert!((ms(10 * round)..ms(30_000)).contains(&past), "{past:?}: neither early nor for a former round");
        }
    }
}
