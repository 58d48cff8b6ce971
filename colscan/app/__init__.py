"""Composition and effects: the only place that knows two stages at once.

`cli/` is the command line, `batch/` scans photos in order and across processes, `demo/` is the bundled
trial. Nothing outside `app` imports from here.
"""
