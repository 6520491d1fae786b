"""Which version of the results this is: stored results of another one are computed again."""

from analytics.explanations import EXPLANATION_COUNT
from analytics.model import SIZE
from analytics.watch import WIDTH

# Raised by hand whenever the same readings give other numbers; "Changes that move results" in
# DEVELOPERS.md says why. The sizes guard what is stored against a model of another shape.
REVISION = 12
RESULTS_VERSION = f"{REVISION}.{SIZE}.{WIDTH}.{EXPLANATION_COUNT}"
