"""Routes: in which order everything is laid, on which ways and when."""
