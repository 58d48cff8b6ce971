"""Photos of a trial, many at a time: located, measured, remembered, recorded.

Takes a trial's folder and photo files; gives what became of each photo as it happens (`scan_photos`);
for a folder of trials, in each trial whose bags it shows (`offer_photos`, `scan_farm`).
May flag a whole photo: `other-camera`, `tag-twice`, and what is said of its time. Measuring one photo is
one picklable job for any process; this one alone remembers and writes.
"""
