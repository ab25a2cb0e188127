//! Records to words, tables, files and pictures.
