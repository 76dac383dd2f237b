//! Durations, in seconds.

use super::number::{padded, tidy};
use super::{CellFormat, CellValue, Kind};

/// `0:12:02`, or minutes and seconds with a pattern.
pub(super) struct Duration;

impl Kind for Duration {
    fn read(&self, cell: &str, format: &CellFormat<'_>) -> Option<CellValue> {
        seconds(cell, format.column.pattern.is_none()).map(CellValue::Number)
    }

    fn write(&self, value: &CellValue, format: &CellFormat<'_>) -> Option<String> {
        let seconds = value.number().filter(|seconds| *seconds >= 0.0)?;
        let whole = seconds.floor();
        let fraction = format!("{:.3}", seconds - whole);
        let fraction = fraction.trim_start_matches('0').trim_end_matches('0').trim_end_matches('.');
        let (minutes, rest) = ((whole / 60.0).floor(), whole % 60.0);
        if format.column.pattern.is_some() {
            let width = format.pattern().find(':').unwrap_or(1);
            return Some(format!("{minutes:0>width$}:{rest:02}{fraction}"));
        }
        let hours = padded(&(minutes / 60.0).floor().to_string(), format.column.digits);
        Some(format!("{hours}:{:02}:{rest:02}{fraction}", minutes % 60.0))
    }

    fn expected(&self, format: &CellFormat<'_>) -> String {
        format!("a time as {}", format.column.pattern.as_deref().unwrap_or("h:mm:ss"))
    }
}

fn seconds(cell: &str, with_hours: bool) -> Option<f64> {
    let parts: Vec<&str> = cell.trim().split(':').collect();
    let whole = |text: &str| {
        text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse::<f64>().ok()).flatten()
    };
    let (hours, minutes, seconds) = match parts[..] {
        [hours, minutes, seconds] if with_hours => {
            (hours, whole(minutes).filter(|minutes| *minutes < 60.0)?, seconds)
        }
        [minutes, seconds] if !with_hours => ("0", whole(minutes)?, seconds),
        _ => return None,
    };
    let seconds = seconds.parse::<f64>().ok().filter(|seconds| (0.0..60.0).contains(seconds))?;
    Some(tidy(whole(hours)? * 3600.0 + minutes * 60.0 + seconds))
}
