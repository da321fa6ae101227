"""Numbers to meaning: from spectra to faults, with odds."""
