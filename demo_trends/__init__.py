"""The demo campus: the one simulator, its exports and its planted truth."""
