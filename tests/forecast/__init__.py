"""Tests of the forecast."""
