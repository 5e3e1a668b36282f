"""NMEA 0183 logs: RMC, GGA, GNS, GLL, VTG, GSA, GST, ZDA and RPM sentences of any talker."""

from roadtest.logs.nmea.reader import read_nmea
from roadtest.logs.nmea.sniff import looks_like_nmea

__all__ = ["looks_like_nmea", "read_nmea"]
