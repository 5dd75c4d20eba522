"""Signing in, and looking after who may."""
