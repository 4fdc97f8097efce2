"""The run itself: runner, bench thread, interlocks."""
