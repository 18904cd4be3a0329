"""Text from files made harmless, under the name by which reports know it."""

from linkfit.plain import harmless as harmless
