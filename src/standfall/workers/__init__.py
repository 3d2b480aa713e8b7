"""Work spread over processes of this machine or a cluster; the results are the same either way."""

from standfall.workers.spread import spread
from standfall.workers.team import Team
from standfall.workers.trial_work import try_falls

__all__ = ["Team", "spread", "try_falls"]
