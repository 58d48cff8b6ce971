"""A photo file becomes upright pixels, linear light and a time.

Takes JPEG, PNG and HEIC files. Gives a `PhotoRef` (which bytes, when, which camera) and the pixels;
`alike` tells copies of one picture.
Flags `zone-assumed time-from-name time-from-file clock-change time-ahead night-mode hdr-mode`. A file that
can't be read, has no colour, is too large or too small, or can't be placed in time is a `PhotoError`.
"""

from colscan.photo.light import to_linear
from colscan.photo.load import PHOTO_SUFFIXES, colour_error, load_rgb, read_ref
from colscan.photo.model import PhotoRef

__all__ = ["PHOTO_SUFFIXES", "PhotoRef", "colour_error", "load_rgb", "read_ref", "to_linear"]
