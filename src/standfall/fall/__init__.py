"""The fall: which domino strikes which, when and how fast, and whether all of them fall."""

from standfall.fall.falling import Fall, Strikes, same_fall, topple
from standfall.fall.prediction import Prediction, predict_fall, with_trials
from standfall.fall.trial import Trials

__all__ = ["Fall", "Prediction", "Strikes", "Trials", "predict_fall", "same_fall", "topple", "with_trials"]
