//! Calls of the workbook library that writes: it panics where it cannot write one of its temporary
//! files, for instance on a full disk.

use std::cell::Cell;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};

use rust_xlsxwriter::XlsxError;

use crate::ConvertError;

thread_local! {
    static CALLING: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is in a call of the workbook library, so that a panic will be returned as an
/// error: a panic hook has nothing to report then.
#[must_use]
pub fn catches_panic() -> bool {
    CALLING.get()
}

/// Calls the library. Nothing else runs in here, so that every panic that is caught is the
/// library's.
pub(super) fn call<T>(library: impl FnOnce() -> Result<T, XlsxError>) -> Result<T, ConvertError> {
    CALLING.set(true);
    // What the library has half written is dropped with the error.
    let result = catch_unwind(AssertUnwindSafe(library));
    CALLING.set(false);
    match result {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(XlsxError::IoError(error))) => Err(ConvertError::Write(error)),
        Ok(Err(other)) => Err(ConvertError::Refused {
            message: format!("the workbook cannot be written: {other}"),
        }),
        Err(panic) => {
            let text = panic.downcast_ref::<String>().map(String::as_str);
            let text = text
                .or_else(|| panic.downcast_ref::<&str>().copied())
                .unwrap_or("it does not say why");
            Err(ConvertError::Write(io::Error::other(format!(
                "the workbook library gave up: {text}"
            ))))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_of_the_library_is_an_error() {
        let error = call::<()>(|| panic!("no room: {}", u8::from(catches_panic()))).unwrap_err();
        assert!(!catches_panic());
        let source = std::error::Error::source(&error).unwrap().to_string();
        assert_eq!(source, "the workbook library gave up: no room: 1");
        assert_eq!(call(|| Ok(1)).unwrap(), 1);
    }
}
