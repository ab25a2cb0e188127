//! One unit's still and moving stretches give gyroscope bias, noise and mounting.
