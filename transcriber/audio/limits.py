"""Bounds and thresholds of the audio stage. Levels are dB against full scale (1.0), RMS unless said."""

WORKING_RATE_HZ = 22_050
LOWEST_RATE_HZ = 8_000
HIGHEST_RATE_HZ = 192_000
MOST_CHANNELS = 32
SHORTEST_S = 0.2

READ_BLOCK_S = 1.0
# Levels, correlation and clipping are kept for blocks of this length, and no finer.
SURVEY_BLOCK_S = 0.1

SILENT_DB = -80.0
LOW_LEVEL_DB = -45.0
OFFSET_REPORTED = 0.001
# A float file this far over full scale holds other units than full scale at 1.0, and is scaled down.
HIGHEST_PEAK = 4.0

LONG_SILENCE_S = 4.0
SILENCE_DB = -65.0
SILENCE_BELOW_LOUD_DB = 50.0

# Shorter runs at full scale happen in sound that is not clipped.
CLIP_RUN_SAMPLES = 3
CLIP_LEVEL = 0.9995
CLIPPED_SHARE_REFUSED = 0.9
MOST_CLIP_REGIONS = 8
CLIP_REGION_GAP_S = 1.0

MAINS_HZ = (50.0, 60.0)
MAINS_HARMONICS = 6
MAINS_WINDOW_SAMPLES = 32_768
# Mains frequency wanders less than this; G1 (49.0 Hz) and B1 (61.7 Hz) lie further away.
MAINS_TOLERANCE_HZ = 0.5
MAINS_PROMINENCE_DB = 12.0
MAINS_REPORTED_DB = -75.0

# Channel choice; see `channels`.
NOISE_FLOOR_DB = -80.0
MOST_USEFUL_RANGE_DB = 50.0
SCORES_ALIKE_DB = 3.0
MEAN_MUST_GAIN_DB = 1.0
IN_PHASE_CORRELATION = 0.5
CLIPPED_SHARE_COST_DB = 200.0
