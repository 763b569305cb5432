//! Many boards of one design, and whether they are spread as the model says.
