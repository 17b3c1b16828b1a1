"""Facts and table models the pages show, testable without a window."""
