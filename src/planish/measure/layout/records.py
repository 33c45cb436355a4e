"""The record scan: GDSII stream bytes to the shapes of one layer, in one pass.

Every length and count in the file is checked against the bytes at hand before
it is used, so that a damaged file is refused and never followed.

The record numbers and layouts are those of the GDSII Stream Format Manual,
release 6.0 (read as quoted in the Limbo parser; checked in the tests against files written by an
independent library).
"""

from __future__ import annotations

import numpy as np
from numba import njit

# How a call of scan() ended.
MORE, STRUCT_BEGIN, STRUCT_END, LIB_END, FULL, BROKEN = range(6)

# Why a file is broken: code -> wording.
REASONS = {
    1: "a record shorter than its own head",
    2: "a record of odd length",
    3: "a record of unknown kind",
    4: "an element outside a structure",
    5: "a structure inside a structure, or its end without a beginning",
    6: "an element inside an element",
    7: "the end of an element without its beginning",
    8: "an element without layer or coordinates",
    9: "a layer, type or width record of wrong length",
    10: "coordinates of wrong length or kind",
    11: "a reference without name or place",
    12: "an array without its counts and three points",
    13: "an array with a count below 1",
    14: "a magnification that is zero, negative or absurd",
    15: "an angle that is absurd",
    16: "an element without its end",
    17: "a polygon with fewer than three corners",
    18: "a reference inside nothing",
}

# Columns of the reference table.
REF_NAME_AT, REF_NAME_LEN, REF_X, REF_Y, REF_FLIP, REF_MAG, REF_ANGLE = range(7)
REF_COLS, REF_ROWS, REF_CX, REF_CY, REF_RX, REF_RY = range(7, 13)
REF_FIELDS = 13
# Columns of the path table.
PATH_WIDTH, PATH_TYPE, PATH_BEGIN, PATH_END = range(4)

# Slots of the state that a scan carries from call to call.
S_RECTS, S_POLYGONS, S_CORNERS, S_PATHS, S_PATH_CORNERS, S_REFS, S_SHAPES, S_REASON, S_AT = range(9)
S_X0, S_Y0, S_X1, S_Y1 = range(9, 13)
STATE = 13

_KNOWN = 0x3C


@njit(cache=True, nogil=True)
def _u16(b, p):  # type: ignore[no-untyped-def]
    return (np.int64(b[p]) << 8) | np.int64(b[p + 1])


@njit(cache=True, nogil=True)
def _i32(b, p):  # type: ignore[no-untyped-def]
    v = (np.int64(b[p]) << 24) | (np.int64(b[p + 1]) << 16) | (np.int64(b[p + 2]) << 8) | np.int64(b[p + 3])
    return v - 4294967296 if v >= 2147483648 else v


@njit(cache=True, nogil=True)
def real8(b, p):  # type: ignore[no-untyped-def]
    """Return an eight-byte real of the format: sign, exponent of 16 less 64, 56 bits of fraction.

    Parameters
    ----------
    b, p
        Bytes, and where the number begins.

    Returns
    -------
    value
        As a float.
    """
    m = 0.0
    for i in range(1, 8):
        m = m * 256.0 + b[p + i]
    v = m / 72057594037927936.0 * 16.0 ** (np.float64(b[p] & 127) - 64.0)
    return -v if b[p] & 128 else v


@njit(cache=True, nogil=True)
def _count(keys, counts, key):  # type: ignore[no-untyped-def]
    """Count a (layer, datatype) in an open-addressed table; a full table counts no new ones."""
    size = keys.shape[0]
    h = (key * 2654435761) % size
    for _ in range(64):
        if keys[h] == key:
            counts[h] += 1
            return
        if keys[h] == -1:
            keys[h] = key
            counts[h] = 1
            return
        h = h + 1 if h + 1 < size else 0


@njit(cache=True, nogil=True)
def _is_plain(b, p):  # type: ignore[no-untyped-def]
    """Whether 64 bytes are BOUNDARY, LAYER, DATATYPE, XY of five points, ENDEL and nothing else."""
    return (
        b[p + 4] == 0
        and b[p + 5] == 6
        and b[p + 6] == 0x0D
        and b[p + 10] == 0
        and b[p + 11] == 6
        and b[p + 12] == 0x0E
        and b[p + 16] == 0
        and b[p + 17] == 44
        and b[p + 18] == 0x10
        and b[p + 19] == 3
        and b[p + 60] == 0
        and b[p + 61] == 4
        and b[p + 62] == 0x11
    )


@njit(cache=True, nogil=True)
def scan(b, pos, n, inside, want, table, state, found):  # type: ignore[no-untyped-def]
    """Read elements from b[pos:n] until something needs the caller.

    Parameters
    ----------
    b, pos, n
        Bytes, where to start (at the head of a record) and where they end.
    inside
        Whether a structure is open.
    want
        layer * 65536 + datatype; -1 only counts.
    table
        (keys, counts) of each (layer, datatype).
    state
        Fill levels of the outputs and the box of the wanted shapes, see the S_ slots.
    found
        The outputs: wanted rectangles int32 (k, 4); corners int32 (k, 2) and starts of the other wanted
        polygons; wanted paths, see the PATH_ columns, their corners and starts; references, see the REF_
        columns, with names as offsets into b.

    Returns
    -------
    how, pos
        How it ended, and the byte to go on from.
    """
    keys, counts = table
    rects, corners, starts, paths, path_corners, path_starts, refs = found
    while True:
        if pos + 4 > n:
            return MORE, pos
        size = _u16(b, pos)
        kind = b[pos + 2]
        if size < 4:
            state[S_REASON], state[S_AT] = 1, pos
            return BROKEN, pos
        if size & 1:
            state[S_REASON], state[S_AT] = 2, pos
            return BROKEN, pos
        if kind >= _KNOWN:
            state[S_REASON], state[S_AT] = 3, pos
            return BROKEN, pos
        if kind == 0x05:
            if inside:
                state[S_REASON], state[S_AT] = 5, pos
                return BROKEN, pos
            return STRUCT_BEGIN, pos
        if pos + size > n:
            return MORE, pos
        if kind == 0x07:
            if not inside:
                state[S_REASON], state[S_AT] = 5, pos
                return BROKEN, pos
            return STRUCT_END, pos + size
        if kind == 0x04:
            if inside:
                state[S_REASON], state[S_AT] = 5, pos
                return BROKEN, pos
            return LIB_END, pos + size
        element = kind == 0x08 or kind == 0x09 or kind == 0x0A or kind == 0x0B
        element = element or kind == 0x0C or kind == 0x15 or kind == 0x2D
        if not element:
            # 0x34 class of a structure, 0x39 and 0x3A its range and contents, 0x2B and 0x2C properties.
            if kind == 0x11:
                state[S_REASON], state[S_AT] = 7, pos
                return BROKEN, pos
            if kind == 0x10 or kind == 0x0D or kind == 0x0E or kind == 0x12 or kind == 0x13:
                state[S_REASON], state[S_AT] = 4, pos
                return BROKEN, pos
            pos += size
            continue
        if not inside:
            state[S_REASON], state[S_AT] = 4, pos
            return BROKEN, pos
        # The plain boundary of four corners, as most of a large layout is.
        if kind == 0x08 and size == 4 and pos + 64 <= n and _is_plain(b, pos):
            key = (_u16(b, pos + 8) << 16) | _u16(b, pos + 14)
            if key != want:
                _count(keys, counts, key)
                pos += 64
                continue
            x0, y0 = _i32(b, pos + 20), _i32(b, pos + 24)
            x1, y1 = _i32(b, pos + 28), _i32(b, pos + 32)
            x2, y2 = _i32(b, pos + 36), _i32(b, pos + 40)
            x3, y3 = _i32(b, pos + 44), _i32(b, pos + 48)
            closed = x0 == _i32(b, pos + 52) and y0 == _i32(b, pos + 56)
            if closed and (
                (x0 == x3 and x1 == x2 and y0 == y1 and y2 == y3)
                or (x0 == x1 and x2 == x3 and y0 == y3 and y1 == y2)
            ):
                k = state[S_RECTS]
                if k >= rects.shape[0]:
                    return FULL, pos
                lx, hx = min(x0, x2), max(x0, x2)
                ly, hy = min(y0, y2), max(y0, y2)
                if hx > lx and hy > ly:
                    rects[k, 0], rects[k, 1], rects[k, 2], rects[k, 3] = lx, ly, hx, hy
                    state[S_RECTS] = k + 1
                if lx < state[S_X0]:
                    state[S_X0] = lx
                if ly < state[S_Y0]:
                    state[S_Y0] = ly
                if hx > state[S_X1]:
                    state[S_X1] = hx
                if hy > state[S_Y1]:
                    state[S_Y1] = hy
                state[S_SHAPES] += 1
                pos += 64
                continue
        # Any element, record by record.
        at = pos + size
        layer = np.int64(-1)
        datatype = np.int64(-1)
        width = np.int64(0)
        pathtype = np.int64(0)
        begin = np.int64(0)
        end = np.int64(0)
        flip = np.int64(0)
        mag = 1.0
        angle = 0.0
        name_at = np.int64(-1)
        name_len = np.int64(0)
        cols = np.int64(1)
        rows = np.int64(1)
        has_counts = False
        xy_at = np.int64(-1)
        xy_end = np.int64(-1)
        corner_count = np.int64(0)
        reason = 0
        while True:
            if at + 4 > n:
                return MORE, pos
            size = _u16(b, at)
            what = b[at + 2]
            if size < 4:
                reason = 1
            elif size & 1:
                reason = 2
            elif what >= _KNOWN:
                reason = 3
            if reason:
                break
            if at + size > n:
                return MORE, pos
            if what == 0x11:
                at += size
                break
            if what == 0x0D or what == 0x0E or what == 0x2E or what == 0x21 or what == 0x1A:
                if size != 6:
                    reason = 9
                elif what == 0x0D:
                    layer = _u16(b, at + 4)
                elif what == 0x0E or what == 0x2E:
                    datatype = _u16(b, at + 4)
                elif what == 0x21:
                    pathtype = _u16(b, at + 4)
                else:
                    flip = np.int64(b[at + 4] >> 7)
            elif what == 0x0F or what == 0x30 or what == 0x31:
                if size != 8:
                    reason = 9
                elif what == 0x0F:
                    width = _i32(b, at + 4)
                elif what == 0x30:
                    begin = _i32(b, at + 4)
                else:
                    end = _i32(b, at + 4)
            elif what == 0x10:
                if b[at + 3] != 3 or size < 12 or (size - 4) % 8 != 0:
                    reason = 10
                else:
                    if xy_at < 0:
                        xy_at = at
                    elif xy_end != at:
                        reason = 10  # further corners must follow at once
                    xy_end = at + size
                    corner_count += (size - 4) // 8
            elif what == 0x12:
                name_at = at + 4
                name_len = size - 4
            elif what == 0x13:
                if size != 8:
                    reason = 12
                else:
                    has_counts = True
                    cols = _u16(b, at + 4)
                    rows = _u16(b, at + 6)
                    if cols < 1 or rows < 1 or cols > 32767 or rows > 32767:
                        reason = 13
            elif what == 0x1B or what == 0x1C:
                if size != 12:
                    reason = 14 if what == 0x1B else 15
                elif what == 0x1B:
                    mag = real8(b, at + 4)
                    if not (mag > 1e-9 and mag < 1e9):
                        reason = 14
                else:
                    angle = real8(b, at + 4)
                    if not (abs(angle) < 1e6):
                        reason = 15
            elif (
                what == 0x08
                or what == 0x09
                or what == 0x0A
                or what == 0x0B
                or what == 0x0C
                or what == 0x2D
                or what == 0x15
            ):
                reason = 6
            elif what == 0x04 or what == 0x05 or what == 0x07:
                reason = 16
            if reason:
                break
            at += size
        if reason:
            state[S_REASON], state[S_AT] = reason, at
            return BROKEN, at
        if kind == 0x0C or kind == 0x15:  # text and nodes draw nothing
            pos = at
            continue
        if kind == 0x0A or kind == 0x0B:
            if name_at < 0 or name_len == 0 or xy_at < 0:
                state[S_REASON], state[S_AT] = 11, pos
                return BROKEN, pos
            if kind == 0x0B and (not has_counts or corner_count < 3):
                state[S_REASON], state[S_AT] = 12, pos
                return BROKEN, pos
            k = state[S_REFS]
            if k >= refs.shape[0]:
                return FULL, pos
            x, y = _i32(b, xy_at + 4), _i32(b, xy_at + 8)
            refs[k, REF_NAME_AT] = name_at
            refs[k, REF_NAME_LEN] = name_len
            refs[k, REF_X] = x
            refs[k, REF_Y] = y
            refs[k, REF_FLIP] = flip
            refs[k, REF_MAG] = mag
            refs[k, REF_ANGLE] = angle
            refs[k, REF_COLS] = 1
            refs[k, REF_ROWS] = 1
            for c in range(REF_CX, REF_RY + 1):
                refs[k, c] = 0.0
            if kind == 0x0B:
                refs[k, REF_COLS] = cols
                refs[k, REF_ROWS] = rows
                refs[k, REF_CX] = (_i32(b, xy_at + 12) - x) / cols
                refs[k, REF_CY] = (_i32(b, xy_at + 16) - y) / cols
                refs[k, REF_RX] = (_i32(b, xy_at + 20) - x) / rows
                refs[k, REF_RY] = (_i32(b, xy_at + 24) - y) / rows
            state[S_REFS] = k + 1
            pos = at
            continue
        if layer < 0 or datatype < 0 or xy_at < 0:
            state[S_REASON], state[S_AT] = 8, pos
            return BROKEN, pos
        key = (layer << 16) | datatype
        if key != want:
            _count(keys, counts, key)
            pos = at
            continue
        if kind == 0x09:
            k = state[S_PATHS]
            m = state[S_PATH_CORNERS]
            if k >= paths.shape[0] or m + corner_count > path_corners.shape[0]:
                return FULL, pos
            paths[k, PATH_WIDTH] = width
            paths[k, PATH_TYPE] = pathtype
            paths[k, PATH_BEGIN] = begin
            paths[k, PATH_END] = end
            m = _copy_corners(b, xy_at, xy_end, path_corners, m)
            state[S_PATHS] = k + 1
            state[S_PATH_CORNERS] = m
            path_starts[k + 1] = m
        else:
            if corner_count < 3:
                state[S_REASON], state[S_AT] = 17, pos
                return BROKEN, pos
            k = state[S_POLYGONS]
            m = state[S_CORNERS]
            if k + 1 >= starts.shape[0] or m + corner_count > corners.shape[0]:
                return FULL, pos
            first = m
            m = _copy_corners(b, xy_at, xy_end, corners, m)
            for t in range(first, m):
                state[S_X0] = min(state[S_X0], np.int64(corners[t, 0]))
                state[S_Y0] = min(state[S_Y0], np.int64(corners[t, 1]))
                state[S_X1] = max(state[S_X1], np.int64(corners[t, 0]))
                state[S_Y1] = max(state[S_Y1], np.int64(corners[t, 1]))
            if (
                m - first > 1
                and corners[first, 0] == corners[m - 1, 0]
                and corners[first, 1] == corners[m - 1, 1]
            ):
                m -= 1
            state[S_POLYGONS] = k + 1
            state[S_CORNERS] = m
            starts[k + 1] = m
            state[S_SHAPES] += 1
        pos = at


@njit(cache=True, nogil=True)
def _copy_corners(b, at, stop, out, m):  # type: ignore[no-untyped-def]
    """Append the corners of the XY records in b[at:stop] to out[m:]."""
    while at < stop:
        size = _u16(b, at)
        for p in range(at + 4, at + size, 8):
            out[m, 0] = _i32(b, p)
            out[m, 1] = _i32(b, p + 4)
            m += 1
        at += size
    return m
