"""A charge while it runs: growing logs, what the charger does, what needs a hand, what is to come."""

from reviewkit.following.alarms import Alarm as Alarm
from reviewkit.following.follower import Follower as Follower
from reviewkit.following.follower import State as State
from reviewkit.following.follower import opened
from reviewkit.following.needs import Have as Have
from reviewkit.following.needs import Need as Need
from reviewkit.following.screen import alarm as alarm
from reviewkit.following.screen import lines
from reviewkit.following.state import Earlier as Earlier

__all__ = ["lines", "opened"]
