//! The invented plant: its history, its simulated meters and its broker.
