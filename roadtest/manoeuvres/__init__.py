"""What the car was doing when: holds, pulls, stops and coasts, with ends between samples."""

from roadtest.manoeuvres.finding import find_manoeuvres
from roadtest.manoeuvres.model import Kind, Manoeuvre

__all__ = ["Kind", "Manoeuvre", "find_manoeuvres"]
