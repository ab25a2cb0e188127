mod tie;
mod tie_body;
mod tie_scratch;
