"""Values from every record of a flight to the places of a lattice, and to any place between them."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

from typing import ClassVar

import numpy as np
from scipy.sparse import csr_array

# A lattice of so many places is fine enough: see the tests for the error it leaves.
_LATTICE_PLACES = 4500


def lattice_over(area_m, finest_m: float, lattice_m: float | None = None) -> tuple[float, int, np.ndarray, np.ndarray]:
    """(spacing, columns, eastings, northings) of a lattice over an area, rows from south to north.

    area_m : (west, south, east, north), survey CRS. [m]
    lattice_m : spacing; None = so that it has about 4500 places, but no finer than finest_m. [m]
    """
    west, south, east, north = (float(edge) for edge in area_m)
    if lattice_m is None:
        lattice_m = max(finest_m, float(np.sqrt((east - west) * (north - south) / _LATTICE_PLACES)))
    columns, rows = (int(np.ceil(length / lattice_m - 1e-9)) + 1 for length in (east - west, north - south))
    across, up = (axis.ravel() for axis in np.meshgrid(west + lattice_m * np.arange(columns), south + lattice_m * np.arange(rows)))
    return float(lattice_m), columns, across, up


def in_half_precision(values: np.ndarray) -> np.ndarray:
    """(records, places) -> (places, records), rounded to half precision: what is computed and what is read back from a file are then the same."""
    return np.ascontiguousarray(np.nan_to_num(values).T, dtype=np.float16).astype(np.float32)


@dataclass(frozen=True)
class FlightLattice:
    """What is known from every record of a flight to the places of a lattice; each kind adds a field of the name LATTICE, values of shape (places, records).

    record : numbers of all records of the flight, shape (records,), each once.
    west_m, south_m : first place of the lattice; cell_m : its spacing. [m] columns : places in a row of it, rows from south to north.
    chosen : which of the records are meant, as places in `record`; None = all.
    """

    LATTICE: ClassVar[str]

    record: np.ndarray
    west_m: float
    south_m: float
    cell_m: float
    columns: int
    chosen: np.ndarray | None = field(default=None, kw_only=True)

    def __len__(self) -> int:
        return len(self.record if self.chosen is None else self.chosen)

    def _mixed(self, easting_m, northing_m) -> np.ndarray:
        """Values from every chosen record to every place, shape (records, places), bilinear in the lattice; 0 outside it."""
        corners, weights = self._between(easting_m, northing_m)
        values = getattr(self, self.LATTICE)
        # As a product with a sparse matrix the four corners of all records are added up in one go.
        mixing = csr_array((weights.ravel().astype(np.float32), corners.ravel(), 4 * np.arange(len(corners) + 1)), shape=(len(corners), len(values)))
        mixed = (mixing @ values).T
        return mixed if self.chosen is None else mixed[self.chosen]

    def _between(self, easting_m, northing_m) -> tuple[np.ndarray, np.ndarray]:
        """The four places of the lattice round each position and their weights, shape (positions, 4); weights are 0 outside the lattice."""
        column = (np.atleast_1d(np.asarray(easting_m, float)) - self.west_m) / self.cell_m
        row = (np.atleast_1d(np.asarray(northing_m, float)) - self.south_m) / self.cell_m
        last_column, last_row = self.columns - 1, len(getattr(self, self.LATTICE)) // self.columns - 1
        inside = (column >= 0) & (column <= last_column) & (row >= 0) & (row <= last_row)
        column, row = np.where(inside, column, 0.0), np.where(inside, row, 0.0)
        left, lower = np.minimum(column.astype(int), max(last_column - 1, 0)), np.minimum(row.astype(int), max(last_row - 1, 0))
        right, upper = np.minimum(left + 1, last_column), np.minimum(lower + 1, last_row)
        x, y = column - left, row - lower
        corners = np.stack([lower * self.columns + left, lower * self.columns + right, upper * self.columns + left, upper * self.columns + right], axis=1)
        weights = np.stack([(1 - x) * (1 - y), x * (1 - y), (1 - x) * y, x * y], axis=1) * inside[:, None]
        return corners, weights

    def chosen_records(self, places: np.ndarray):
        """The same for some of the chosen records, by their places among them."""
        return replace(self, chosen=(np.arange(len(self.record)) if self.chosen is None else self.chosen)[places])

    def of_records(self, record):
        """The same for the records of these numbers, in their order: the usable ones of one tag, for instance.

        Raises ValueError where a number is not of this flight.
        """
        place = {int(number): at for at, number in enumerate(self.record)}
        strange = [int(number) for number in record if int(number) not in place]
        if strange:
            raise ValueError(f"records that are not of this flight: {strange[:5]}, {len(strange)} in all")
        return replace(self, chosen=np.array([place[int(number)] for number in record], int))

    def to_arrays(self) -> dict:
        """Everything about the whole flight as arrays, one file each; the lattice in half precision, which is the precision it has."""
        arrays = {name: np.asarray(getattr(self, name)) for name in self.array_names()}
        return arrays | {self.LATTICE: getattr(self, self.LATTICE).astype(np.float16)}

    @classmethod
    def from_arrays(cls, arrays):
        """The same again from what to_arrays gave, or from the file that numpy.savez made of it."""
        values = {name: arrays[name] for name in cls.array_names()}
        values = {name: value.item() if value.ndim == 0 else value for name, value in values.items()}
        return cls(**(values | {cls.LATTICE: values[cls.LATTICE].astype(np.float32)}))

    @classmethod
    def array_names(cls) -> list[str]:
        """Names of what to_arrays gives."""
        return [each.name for each in fields(cls) if each.name != "chosen"]
