"""Allowed behaviour tracked against observed edges; bounds, uncertainty, decision."""
