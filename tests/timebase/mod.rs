mod tie;
mod tie_body;
