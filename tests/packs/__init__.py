"""Tests of rule packs."""
