"""Photos of a trial, many at a time: located, measured, remembered, recorded.

Takes a trial's folder and photo files; gives what became of each photo as it happens (`scan_photos`).
May flag a whole photo: `other-camera`, `tag-twice`, and what is said of its time. Measuring one photo is
one picklable job for any process; this one alone remembers and writes.
"""
