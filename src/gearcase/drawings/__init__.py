"""Faces on paper and screen: drawings, plots, reports, words for a terminal."""
