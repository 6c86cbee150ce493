"""Evidence for the qualification of ultrasonic imaging modes."""

__version__ = "0.1.0"
