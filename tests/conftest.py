"""What all tests share."""

# Notebooks made to fail, hang or tell: run by the tests that need them, not collected as tests.
collect_ignore = ["files"]
