"""Laws of the classes that the lives allow, drawn one set at a time.

In: `ClassLikelihoods`, `Laws`. Out: shapes and scales. Next: `seallife.spares.lawdraws`.

A forecast over several classes needs what they share to be shared in each draw: first a law of
the classes is drawn, then the shape and scale of each class under it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seallife.life.groups import Floats
from seallife.life.poolinggrid import ClassLikelihoods, posterior_nodes
from seallife.life.poolinglaw import Laws

__all__ = ["Posterior"]


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the lives allow of the laws of all classes.

    Attributes
    ----------
    classes : ClassLikelihoods
    laws : Laws
    """

    classes: ClassLikelihoods
    laws: Laws

    def draws(self, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Shapes and scales of the classes, ``count`` sets of them.

        Returns
        -------
        shape, scale : ndarray, shape (count, g)
            Scale in the unit of the ages. A set hangs together: what the classes have in common
            is one draw.
        """
        g = len(self.classes.failures)
        ladder = (np.arange(count) + rng.random()) / count
        reached = np.cumsum(self.laws.weight)
        law = np.searchsorted(reached / reached[-1], ladder).clip(max=len(reached) - 1)
        rng.shuffle(law)
        shape, scale = np.empty((2, count, g))
        group = np.arange(g)
        for k, h in enumerate(law.tolist()):
            under, shift = np.full(g, h), np.full(g, self.laws.shift[h])
            nodes = posterior_nodes(
                self.classes, group, self.laws.law[under], shift, window=self.laws.window[:, h]
            )
            chance = np.cumsum(nodes.weight.reshape(g, -1), axis=1)
            at = (chance < rng.random((g, 1)) * chance[:, -1:]).sum(axis=1)
            i, j = np.divmod(at, nodes.weight.shape[2])
            shape[k], scale[k] = nodes.log_shape[group, i, 0], nodes.log_scale[group, i, j]
        return np.exp(shape), np.exp(scale)
