"""boatrun: from sensor record to a trial with its uncertainty."""

__version__ = "0.1.0"
