"""Tests of fewwire. ``links`` holds the strategies; ``bench`` the benchmarks."""
