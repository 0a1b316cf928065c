"""The sample: an invented county on open water."""
