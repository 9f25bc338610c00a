"""A photo of one side of a board laid on the board: from a few tapped points and the round things that the board has there.

Taps give a first view that is good near them. Round lands and holes close to the taps are then looked for in the picture, the view is fitted again with
the lens's bend, and the search goes on further out, so that no land is ever looked for further away than half a pin pitch: a whole row
matched one pin too far is thereby kept out. At the end the drawing of the side is compared with the straightened picture: it must fit better in its
place than one pitch aside, and the lands must be found more often than by chance. Whether the picture is mirrored, the order of the taps says.

Coordinates: pixels x right, y down; mm as the board's, seen from the component side, y up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from coppermend.core.findings import Refusal, refuse
from coppermend.core.geometry.lens import Lens, first_lens, fit_lens
from coppermend.core.geometry.rounds import Seen, find_circles
from coppermend.core.geometry.sharpness import blur_px, least_blur_px

Floats = NDArray[np.float64]
Grey = NDArray[np.float32]

SEARCH_MM = 1.1
"""A land is looked for within less than half a pin pitch of 2.54 mm (JEDEC and EIA outlines of dual in-line packages)."""
STAGES_MM = (30.0, 60.0, 110.0, 1e9)
MOST_CIRCLES = 420
LEAST_PX_PER_MM = 3.5
MOST_BLUR_MM = 0.32
NEARER = 2.25
"""A photo can show the board at most so many times larger than one that shows all of it: it shows a fifth of the board then, too little to lay."""
"""Spread of an edge; a land of 1.5 mm is then just a spot."""
LEAST_MATCHED = 20
TOP_MM = 10.0
WRONG_TAP_MM = 1.6
PITCH_MM = 2.54
LEAST_LIKENESS = 0.15
"""Correlation of drawing and picture that a wrong place does not reach (tests see up to 0.1 there, 0.6 in the right one)."""
MOST_RESIDUAL_MM = 0.2


@dataclass(frozen=True, slots=True)
class Drawing:
    """What the board's drawing leads one to expect. ``circles`` (n, 4) x, y, land radius, hole radius in mm (0 where there is none).

    ``sides`` grey pictures by side ("c", "s"), row 0 at the top (largest y), covering ``box_mm`` (x0, y0, x1, y1) at ``per_mm`` px a mm, in board
    coordinates for both sides; ``mask`` True where nothing stands on the board.
    """

    circles: Floats
    sides: Mapping[str, Grey]
    masks: Mapping[str, NDArray[np.bool_]]
    box_mm: tuple[float, float, float, float]
    per_mm: float


@dataclass(frozen=True, slots=True)
class Registered:
    """The view of the photo and how well it fits.

    ``residual_mm`` root mean square of the matched lands, ``p95_mm`` 95th percentile, ``matched`` of ``tried`` lands, ``taps_mm`` each tap's own miss,
    ``blur_mm`` spread of an edge, ``px_per_mm`` in the middle, ``likeness`` correlation of drawing and picture.
    """

    lens: Lens
    residual_mm: float
    p95_mm: float
    matched: int
    tried: int
    taps_mm: tuple[float, ...]
    blur_mm: float
    px_per_mm: float
    likeness: float


def register(
    grey: Grey,
    side: str,
    taps_px: Sequence[tuple[float, float]],
    taps_mm: Sequence[tuple[float, float]],
    drawing: Drawing,
) -> Registered:
    """Lay a photo on its side of the board.

    ``grey`` (h, w) 0 to 1; ``side`` "c" or "s"; four taps or more, the same places in px and mm. Refusals say what is wrong: MAP-001, MAP-002 taps that fix no view,
    PHO-010 too coarse, PHO-011 too blurred, PHO-012 mirrored or the other side, PHO-013 another board or wrong taps, PHO-014 one tap at a wrong pin.
    """
    height, width = grey.shape
    first = first_lens(taps_px, taps_mm, (width, height))
    middle = ((drawing.box_mm[0] + drawing.box_mm[2]) / 2, (drawing.box_mm[1] + drawing.box_mm[3]) / 2)
    per_mm = first.px_per_mm(middle)
    if per_mm < LEAST_PX_PER_MM:
        raise refuse(
            "PHO-010",
            f"The photo is too coarse: {per_mm:.1f} pixels a mm, at least {LEAST_PX_PER_MM} are needed to tell lands apart.",
            "Take it from nearer, or take a larger picture, so that the board fills it.",
        )
    blur_mm = blur_of(grey, first, drawing)
    if blur_mm > MOST_BLUR_MM:
        raise _blurred(blur_mm)
    _look_the_right_way(grey, side, first, middle, drawing)
    try:
        return _settled(grey, side, taps_px, taps_mm, first, drawing, blur_mm, per_mm)
    except Refusal as err:
        raise _why_not(grey, side, taps_px, taps_mm, drawing, err) from None


def _blurred(blur_mm: float) -> Refusal:
    return refuse(
        "PHO-011",
        f"The photo is blurred: an edge is smeared over some {2.6 * blur_mm:.1f} mm, at most {2.6 * MOST_BLUR_MM:.1f} mm is usable.",
        "Hold the camera still (or lean it on something), more light, tap on the board to focus, and take it again.",
    )


def finest_px_per_mm(size_px: tuple[int, int], size_mm: tuple[float, float]) -> float:
    """Pixels a mm of a photo (width, height in px) that shows all of a board (width, height in mm), at most: it fills the picture, whichever way it lies.

    >>> finest_px_per_mm((2000, 1500), (150.0, 200.0))
    10.0
    """
    (long_px, short_px), (long_mm, short_mm) = sorted(size_px, reverse=True), sorted(size_mm, reverse=True)
    return min(long_px / max(long_mm, 1e-6), short_px / max(short_mm, 1e-6))


def look_before_taps(greys: Sequence[Grey], size_mm: tuple[float, float]) -> None:
    """Refuse (PHO-011) a photo that cannot be laid wherever its board lies in it: blurred in every direction even if it shows a fifth of the board.

    ``greys`` the photo (h, w), 0 to 1, at some scales (4 and 2 px a mm of ``size_mm``, the board's width and height): where nothing is sharp, the grain
    of a fine one is taken for edges, and a coarse one has none. One that passes can still be too blurred: that is known once pins are tapped
    (``register``).
    """
    blur_mm = max(least_blur_px(one) / finest_px_per_mm((one.shape[1], one.shape[0]), size_mm) for one in greys)
    if blur_mm > NEARER * MOST_BLUR_MM:
        raise _blurred(blur_mm)


def blur_of(grey: Grey, lens: Lens, drawing: Drawing) -> float:
    """Spread of edges in mm, measured on the board as the taps place it, at the picture's own scale or 8 px a mm, whichever is coarser."""
    middle = ((drawing.box_mm[0] + drawing.box_mm[2]) / 2, (drawing.box_mm[1] + drawing.box_mm[3]) / 2)
    per_mm = min(8.0, lens.px_per_mm(middle))
    flat, inside = straightened(grey, lens, drawing.box_mm, per_mm)
    if inside.mean() < 0.2:
        return 0.0
    return blur_px(flat) / per_mm


def straightened(
    grey: Grey, lens: Lens, box: tuple[float, float, float, float], per_mm: float
) -> tuple[Grey, NDArray[np.bool_]]:
    """The picture laid flat over a box at ``per_mm`` px a mm, row 0 at the top, and where the photo shows anything."""
    x0, y0, x1, y1 = box
    cols, rows = max(2, round((x1 - x0) * per_mm)), max(2, round((y1 - y0) * per_mm))
    xs, ys = x0 + (np.arange(cols) + 0.5) / per_mm, y1 - (np.arange(rows) + 0.5) / per_mm
    # the view is smooth: every 16th place is computed, those between are interpolated
    step = 16
    cx, cy = np.append(np.arange(0, cols - 1, step), cols - 1), np.append(np.arange(0, rows - 1, step), rows - 1)
    gx, gy = np.meshgrid(xs[cx], ys[cy])
    px = lens.to_px(np.column_stack([gx.ravel(), gy.ravel()])).reshape(len(cy), len(cx), 2)
    u, v = (_between(px[:, :, k], cy, cx, rows, cols) for k in (0, 1))
    inside = (u >= 0) & (v >= 0) & (u <= grey.shape[1] - 1) & (v <= grey.shape[0] - 1)
    coarser = max(1.0, lens.px_per_mm(((x0 + x1) / 2, (y0 + y1) / 2)) / per_mm)
    source = ndimage.gaussian_filter(grey, 0.4 * coarser) if coarser > 1.4 else grey
    flat = ndimage.map_coordinates(source, [v, u], order=1, mode="nearest")
    return flat.astype(np.float32), inside


def _between(values: Floats, rows_at: NDArray[np.int64], cols_at: NDArray[np.int64], rows: int, cols: int) -> Floats:
    wide = np.array([np.interp(np.arange(cols), cols_at, row) for row in values])
    at = np.interp(np.arange(rows), rows_at, np.arange(len(rows_at)))
    low = np.minimum(at.astype(int), len(rows_at) - 2)
    share = (at - low)[:, None]
    return np.asarray(wide[low] * (1 - share) + wide[low + 1] * share, dtype=np.float64)


def likeness(
    flat: Floats, inside: NDArray[np.bool_], drawn: Floats, mask: NDArray[np.bool_], shift_px: tuple[int, int] = (0, 0)
) -> float:
    """Correlation (0 to 1, sign dropped) of two pictures' ``detail``, the drawing moved by (right, down) px, where ``mask`` holds."""
    moved = np.roll(drawn, (shift_px[1], shift_px[0]), axis=(0, 1))
    keep = inside & np.roll(mask, (shift_px[1], shift_px[0]), axis=(0, 1))
    if keep.sum() < 2000:
        return 0.0
    a, b = flat[keep], moved[keep]
    a, b = a - a.mean(), b - b.mean()
    bottom = float(np.sqrt((a**2).sum() * (b**2).sum()))
    return abs(float((a * b).sum())) / bottom if bottom > 0 else 0.0


def detail(picture: Grey) -> Floats:
    """What is fine: without the light's slow changes, and with strong contrasts held down so that a lamp's reflection decides nothing."""
    fine = picture - ndimage.gaussian_filter(picture, 6.0)
    spread = float(np.median(np.abs(fine))) * 1.5 + 1e-3
    return np.asarray(np.tanh(fine / (3.0 * spread)), dtype=np.float64)


def _look_the_right_way(grey: Grey, side: str, first: Lens, middle: tuple[float, float], drawing: Drawing) -> None:
    mirrored = float(np.linalg.det(first.jacobian(middle))) > 0
    if mirrored == (side == "s"):
        return
    other = "s" if side == "c" else "c"
    mine, theirs = (_likeness_of(grey, first, drawing, one) for one in (side, other))
    name = {"c": "component side", "s": "solder side"}
    if theirs > mine:
        raise refuse(
            "PHO-012",
            f"This photo shows the {name[other]}, not the {name[side]}: the tapped pins lie as they are seen from there.",
            f"Give it as the {name[other]}, or take one of the {name[side]}.",
        )
    raise refuse(
        "PHO-012",
        f"The photo is mirrored: the tapped pins lie the wrong way round for the {name[side]}.",
        "Use the picture as the camera took it (selfie cameras and some scanners mirror), or look whether two taps are swapped.",
    )


def _likeness_of(grey: Grey, lens: Lens, drawing: Drawing, side: str) -> float:
    if side not in drawing.sides:
        return 0.0
    flat, inside = straightened(grey, lens, drawing.box_mm, drawing.per_mm)
    return likeness(detail(flat), inside, detail(drawing.sides[side]), drawing.masks[side])


def _settled(
    grey: Grey,
    side: str,
    taps_px: Sequence[tuple[float, float]],
    taps_mm: Sequence[tuple[float, float]],
    first: Lens,
    drawing: Drawing,
    blur_mm: float,
    per_mm: float,
) -> Registered:
    """The registration, or a refusal PHO-013 when too little matches."""
    lens, seen, chosen = _grown(grey, np.asarray(taps_px, float), np.asarray(taps_mm, float), first, drawing, per_mm)
    moved = _best_pitch(grey, side, lens, drawing)
    # taps that were all one pin off have no say any more
    said_px, said_mm = (taps_px, taps_mm) if moved is lens else ((), ())
    lens = moved
    places = drawing.circles[chosen, :2]
    grid = min(12.0, max(5.0, per_mm))
    seen = find_circles(grey, lens, places, drawing.circles[chosen, 2:], 0.6, grid)
    good = _agreeing(seen)
    lens = _refit(lens, places, seen, good, said_px, said_mm)
    seen = find_circles(grey, lens, places, drawing.circles[chosen, 2:], 0.6, grid)
    good, far = _agreeing(seen), np.hypot(*seen.offset_mm.T)
    chance = _by_chance(grey, lens, drawing, chosen, grid)
    same = _likeness_of(grey, lens, drawing, side)
    tried = len(chosen)
    residual = float(np.sqrt((far[good] ** 2).mean())) if good.any() else np.inf
    few = residual > MOST_RESIDUAL_MM or good.sum() < LEAST_MATCHED or good.mean() < 1.6 * chance + 0.04
    if few or (side in drawing.sides and same < LEAST_LIKENESS):
        raise refuse(
            "PHO-013",
            f"The photo does not fit this side of this board: {int(good.sum())} of {tried} lands were found where the taps put them, {chance * tried:.0f} are found by chance.",
            "See whether each tap is at the pin that is named, and whether this is the same board.",
        )
    miss = np.hypot(*(lens.to_mm(taps_px) - np.asarray(taps_mm, float)).T)
    return Registered(
        lens,
        residual,
        float(np.percentile(far[good], 95)),
        int(good.sum()),
        tried,
        tuple(float(m) for m in miss),
        blur_mm,
        per_mm,
        same,
    )


def _grown(
    grey: Grey, taps_px: Floats, taps_mm: Floats, first: Lens, drawing: Drawing, per_mm: float
) -> tuple[Lens, Seen, NDArray[np.int64]]:
    """The view after matching lands further and further from what is known; the lands of the last stage."""
    lens, known, grid = first, taps_mm, min(10.0, max(5.0, per_mm))
    chosen = np.arange(0)
    seen = Seen(np.zeros((0, 2)), np.zeros(0, bool))
    for reach in STAGES_MM:
        near = _within(drawing.circles[:, :2], known, reach) & _in_picture(grey, lens, drawing.circles[:, :2])
        chosen = _spread_out(drawing.circles[:, :2], np.flatnonzero(near), MOST_CIRCLES)
        if len(chosen) < 4:
            continue
        places = drawing.circles[chosen, :2]
        seen = find_circles(grey, lens, places, drawing.circles[chosen, 2:], SEARCH_MM, grid)
        if seen.found.sum() < 4:
            continue
        lens = _refit(lens, places, seen, seen.found, taps_px, taps_mm)
        known = np.vstack([taps_mm, places[seen.found]])
    return lens, seen, chosen


def _refit(
    lens: Lens,
    places: Floats,
    seen: Seen,
    good: NDArray[np.bool_],
    taps_px: Sequence[tuple[float, float]] | Floats,
    taps_mm: Sequence[tuple[float, float]] | Floats,
) -> Lens:
    """Fit lands found at their offsets; the taps keep a small say, so that few lands cannot carry the view away."""
    px = lens.to_px(places[good] + seen.offset_mm[good])
    tap_weight = 0.25 if good.sum() >= 12 else 0.6
    weights = np.append(np.ones(len(px)), np.full(len(taps_px), tap_weight))
    all_px = np.vstack([px, np.asarray(taps_px, dtype=np.float64).reshape(-1, 2)])
    all_mm = np.vstack([places[good], np.asarray(taps_mm, dtype=np.float64).reshape(-1, 2)])
    return fit_lens(lens, all_px, all_mm, weights) if len(all_px) >= 4 else lens


def _best_pitch(grey: Grey, side: str, lens: Lens, drawing: Drawing) -> Lens:
    """The view moved by one pin pitch where the drawing fits clearly better there."""
    if side not in drawing.sides:
        return lens
    flat, inside = straightened(grey, lens, drawing.box_mm, drawing.per_mm)
    step = round(PITCH_MM * drawing.per_mm)
    seen, drawn = detail(flat), detail(drawing.sides[side])
    tries = {
        (dx, dy): likeness(seen, inside, drawn, drawing.masks[side], (dx * step, dy * step))
        for dx in (-1, 0, 1)
        for dy in (-1, 0, 1)
    }
    best = max(tries, key=lambda one: tries[one])
    if best == (0, 0) or tries[best] < 1.3 * tries[(0, 0)] + 0.02:
        return lens
    move = np.array([[1, 0, -best[0] * PITCH_MM], [0, 1, best[1] * PITCH_MM], [0, 0, 1.0]])
    matrix = move @ lens.matrix
    return Lens(matrix / matrix[2, 2], lens.centre_px, lens.reach_px, lens.k, lens.k2)


def _agreeing(seen: Seen) -> NDArray[np.bool_]:
    """Lands found near their place, none of them far off the others: beyond four times the usual miss (and 0.12 mm) it is something else."""
    far = np.hypot(*seen.offset_mm.T)
    good = seen.found & (far < 0.45)
    usual = float(np.median(far[good])) if good.any() else 0.0
    return np.asarray(good & (far < max(0.12, 4.0 * usual)))


def _by_chance(grey: Grey, lens: Lens, drawing: Drawing, chosen: NDArray[np.int64], grid: float) -> float:
    """Share of lands that are 'found' at places that are none: shifted by amounts that are no pitch."""
    shares = []
    for shift in ((3.4, 1.9), (-2.1, 3.7)):
        places = drawing.circles[chosen, :2] + np.array(shift)
        seen = find_circles(grey, lens, places, drawing.circles[chosen, 2:], 0.6, grid)
        shares.append(float(_agreeing(seen).mean()) if len(chosen) else 0.0)
    return float(np.mean(shares))


def _within(places: Floats, known: Floats, reach: float) -> NDArray[np.bool_]:
    if reach > 1e6:
        return np.ones(len(places), dtype=bool)
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(known).query(places, distance_upper_bound=reach)[0] <= reach)


def _in_picture(grey: Grey, lens: Lens, places: Floats) -> NDArray[np.bool_]:
    px, edge = lens.to_px(places), 2.0 * lens.px_per_mm((float(places[:, 0].mean()), float(places[:, 1].mean())))
    return np.asarray(
        (px[:, 0] > edge) & (px[:, 1] > edge) & (px[:, 0] < grey.shape[1] - edge) & (px[:, 1] < grey.shape[0] - edge)
    )


def _spread_out(places: Floats, index: NDArray[np.int64], most: int) -> NDArray[np.int64]:
    """At most ``most`` of the places, evenly over the board: one by one from squares of TOP_MM, each square in turn."""
    if len(index) <= most:
        return index
    square = np.floor(places[index] / TOP_MM).astype(int)
    _, of = np.unique(square, axis=0, return_inverse=True)
    of = of.ravel()
    order = np.lexsort((index, of))
    rank = np.empty(len(index), dtype=int)
    starts = np.flatnonzero(np.append(True, of[order][1:] != of[order][:-1]))
    rank[order] = np.arange(len(index)) - np.repeat(starts, np.diff(np.append(starts, len(index))))
    return np.sort(index[np.argsort(rank, kind="stable")[:most]])


def _why_not(
    grey: Grey,
    side: str,
    taps_px: Sequence[tuple[float, float]],
    taps_mm: Sequence[tuple[float, float]],
    drawing: Drawing,
    err: Refusal,
) -> Refusal:
    """The best reason: of more than four taps one at a wrong pin; else the refusal as it came."""
    if len(taps_px) > 4:
        for k in range(len(taps_px)):
            rest = [i for i in range(len(taps_px)) if i != k]
            px, mm = [taps_px[i] for i in rest], [taps_mm[i] for i in rest]
            try:
                lens = first_lens(px, mm, (grey.shape[1], grey.shape[0]))
                found = _settled(grey, side, px, mm, lens, drawing, 0.0, lens.px_per_mm(mm[0]))
            except Refusal:
                continue
            miss = float(np.hypot(*(found.lens.to_mm([taps_px[k]])[0] - np.asarray(taps_mm[k]))))
            if miss > WRONG_TAP_MM:
                at = found.lens.to_mm([taps_px[k]])[0]
                return refuse(
                    "PHO-014",
                    f"Tap {k + 1} is at a wrong place: it lies {miss:.1f} mm from its pin, at x {at[0]:.1f} mm, y {at[1]:.1f} mm. The other taps fit.",
                    "Tap that point again, or take it away.",
                )
    return err
