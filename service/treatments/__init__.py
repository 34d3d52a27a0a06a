"""Treatments: what substances and devices were used at a property, by anybody."""
