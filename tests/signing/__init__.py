"""Tests of people, authority and signatures."""
