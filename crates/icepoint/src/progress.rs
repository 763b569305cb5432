//! A progress bar for the simulation, on a terminal only.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar over this many Monte Carlo trials; nothing is drawn when standard error is no terminal.
pub fn trials(count: u32) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(u64::from(count)), ProgressDrawTarget::stderr_with_hz(8));
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {human_pos} of {human_len} simulated boards") {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}
