"""Tests of Whitethread."""
