//! Sensor-to-world orientation, z up.
