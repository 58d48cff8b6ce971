"""A drawn page as a phone's photo shows it: a plain warp, uneven light, blur, noise, JPEG."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pypdfium2
from numpy.typing import NDArray

from colscan.present.paper import PAPERS
from colscan.present.practice import draw_practice


def rasters(pdf: bytes, dpi: int = 200) -> list[NDArray[np.uint8]]:
    """Each page of a PDF, (h, w, 3) RGB."""
    return [page.render(scale=dpi / 72).to_numpy()[:, :, 2::-1] for page in pypdfium2.PdfDocument(pdf)]


@cache
def practice_pages(paper: str, dpi: int = 200) -> list[NDArray[np.uint8]]:
    """The pages of the practice sheet on a paper, drawn once; not to be written into."""
    return rasters(draw_practice(PAPERS[paper]), dpi)


def photograph(page: NDArray[np.uint8], seed: int, *, high_px: int = 2600) -> bytes:
    """A JPEG of a page, a little askew on a dark table; all that varies is drawn by lot.

    Light falls off by up to 17 % to either side; exposure is .35 to .85 of full, the channels are off by 8 %
    against each other, the blur is 0.6 to 1.2 px, haze up to 1 %, noise 2 steps.
    """
    rng = np.random.default_rng(seed)
    light = _thinned(_decoded(page), page.shape[0] / high_px)
    size = (round(0.8 * high_px), high_px)
    image = cv2.warpPerspective(light, _askew(rng, page.shape, size), size, borderValue=(0.08, 0.07, 0.06))
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.6, 1.2))
    y, x = (along / high_px for along in np.ogrid[0:high_px, 0 : size[0]])
    lamp = rng.uniform(0, 2 * np.pi)
    shade = 1 + 0.35 * ((x - 0.4) * np.cos(lamp) + (y - 0.5) * np.sin(lamp))
    cast = np.exp(rng.normal(0, 0.08, 3))
    tint = (cast / cast.max() * rng.uniform(0.35, 0.85)).astype(np.float32)
    image *= shade[..., None].astype(np.float32)
    image *= tint
    image += np.float32(rng.uniform(0, 0.01))
    values = rng.normal(0, 2, image.shape)
    values += _encoded(image)
    bgr = values.clip(0, 255, out=values).round(out=values).astype(np.uint8)[..., ::-1]
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()


def _thinned(light: NDArray[np.float32], times: float) -> NDArray[np.float32]:
    """Blurred, so that detail finer than the photo's pixels doesn't fold into it."""
    return cv2.GaussianBlur(light, (0, 0), 0.45 * times)


def _askew(rng: np.random.Generator, page: tuple[int, ...], size: tuple[int, int]) -> NDArray[np.float32]:
    """From the page to a photo, each corner 1 to 5 % of it inside its own."""
    inward = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)]) * rng.uniform(0.01, 0.05, (4, 2))
    square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)])
    corners = (square * (page[1], page[0])).astype(np.float32)
    return cv2.getPerspectiveTransform(corners, ((square + inward) * size).astype(np.float32))


def _decoded(values: NDArray[np.uint8]) -> NDArray[np.float32]:
    v = np.arange(256) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)[values]


def _encoded(light: NDArray[np.float32]) -> NDArray[np.float32]:
    return 255 * np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055
    )
