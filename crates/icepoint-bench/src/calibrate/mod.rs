//! From readings at known inputs to the deviations of one board.
