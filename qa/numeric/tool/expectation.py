"""What to expect of the next part from the mold, at its first fit.

The next part is seated by least squares like the others. Its deviation from target is
then tool + what its own errors leave, by Student's t (normal where the standard
deviation is known), and the tool as told has an error of its own. Where the mold is
corrected by what was told, that error is added to the next part's. Where it is left as
it is, the tool as told scatters already by that error about the tool: what is left to
add is the next part's less that of the tool, and then the share is right on average
whatever the tool is (with a known standard deviation exactly so, by Kolmogorov's
argument for unbiased estimates of a normal probability; 1950).
"""

from dataclasses import dataclass

import numpy as np

from qa.numeric.tool.bounds import drawn

WHOLE_DRAWS = 5_000
LEAST = 1e-12  # of a variance: one part alone says of itself only what it reads
SEEN = 1e-9  # of a share


@dataclass(frozen=True)
class NextPart:
    """m characteristics of the next part: limits as deviations from target (m,), its
    covariances (m, m) per variance of an error, `own` of what a part's errors leave,
    `known` of the tool as told; standard deviation of an error (m,) mm and the degrees
    of freedom behind it (m,), infinite when known."""

    low: np.ndarray
    high: np.ndarray
    own: np.ndarray
    known: np.ndarray
    sd: np.ndarray
    degrees: np.ndarray

    def _covariance(self, corrected: np.ndarray) -> np.ndarray:
        moved = np.diag(corrected.astype(float))
        return self.own - self.known + 2 * moved @ self.known @ moved

    def characteristics(self, tool: np.ndarray, corrected: np.ndarray) -> float:
        """Expected share of characteristics that conform when the tool is `tool`;
        `corrected` (m,) says where it was."""
        from scipy.special import ndtr, stdtr

        variance = np.maximum(np.diag(self._covariance(corrected)), LEAST)
        spread = self.sd * np.sqrt(variance)
        known = np.isinf(self.degrees)
        degrees = np.where(known, 1.0, self.degrees)

        def below(limit):
            at = (limit - tool) / spread
            return np.where(known, ndtr(at), stdtr(degrees, at))

        return _between((below(self.high) - below(self.low)).mean(), SEEN)

    def whole_parts(self, tool: np.ndarray, corrected: np.ndarray) -> float:
        """Expected share of parts that conform in all of these.

        By simulation with a fixed seed, 5,000 parts: standard error 0.7 % at worst.
        Where none of these or all conform that says no more than the next would.
        """
        covariance = self._covariance(corrected)
        errors = np.vstack(list(drawn(covariance, WHOLE_DRAWS))) * self.sd
        source = np.random.Generator(np.random.PCG64(0))
        for degrees in np.unique(self.degrees[np.isfinite(self.degrees)]):
            spread = np.sqrt(degrees / source.chisquare(degrees, WHOLE_DRAWS))
            errors[:, self.degrees == degrees] *= spread[:, None]
        values = tool + errors
        whole = ((self.low <= values) & (values <= self.high)).all(axis=1).mean()
        return _between(whole, 1 / (2 * WHOLE_DRAWS))


def _between(share: float, least: float) -> float:
    """What is expected is neither none nor all for certain."""
    return float(min(max(share, least), 1 - least))
