"""The demo scenario: its world, its truth and its generator."""

from datasets.demo.generate import SEED, demo_truth, make_demo, write_truth

__all__ = ["SEED", "demo_truth", "make_demo", "write_truth"]
