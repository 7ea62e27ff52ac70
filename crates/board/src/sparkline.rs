//! Echoes as a row of bars.

use std::time::Duration;

use ledger::{EchoSample, Standing};

use crate::shape;

/// Bars for the echoes, and the slowest of them, which a full bar stands for. Lost ones are crosses.
pub(crate) fn sparkline(echoes: &[EchoSample], unicode: bool) -> (String, Option<Duration>) {
    const FINE: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    const ROUGH: [char; 8] = ['_', '_', '.', '.', '-', '-', '=', '='];
    let steps = if unicode { FINE } else { ROUGH };
    let slowest = echoes.iter().filter_map(|e| e.0).max();
    let top = slowest.map_or(1, |s| s.as_nanos().max(1));
    let bars = echoes
        .iter()
        .map(|echo| match echo.0 {
            None => shape::of(Standing::Missing),
            Some(time) => {
                let step = (time.as_nanos() * 8).div_ceil(top).clamp(1, 8) as usize;
                steps[step - 1]
            }
        })
        .collect();
    (bars, slowest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slowest_echo_is_a_full_bar_and_a_lost_one_a_cross() {
        let echoes =
            [Some(1_000), Some(8_000), None, Some(4_000)].map(|us| EchoSample(us.map(Duration::from_micros)));
        let (bars, slowest) = sparkline(&echoes, true);
        assert_eq!(bars, "▁█×▄");
        assert_eq!(slowest, Some(Duration::from_millis(8)));
        assert_eq!(sparkline(&[EchoSample(None)], true), ("×".to_owned(), None));
        assert_eq!(sparkline(&[EchoSample(Some(Duration::ZERO))], true).0, "▁");
    }
}
