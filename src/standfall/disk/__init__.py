"""The disk: files written whole or not at all, and its faults in plain words."""

from standfall.disk.fault import fault, faults_of
from standfall.disk.folder import make_folder, remove_file
from standfall.disk.whole_file import SIDE_FILES, real_path, whole_file, write_whole

__all__ = [
    "SIDE_FILES",
    "fault",
    "faults_of",
    "make_folder",
    "real_path",
    "remove_file",
    "whole_file",
    "write_whole",
]
