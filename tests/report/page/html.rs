//! A reader of well-formed pages, small and strict: every tag must be closed in its turn.

/// Tags without an end (HTML Living Standard, 13.1.2 "void elements").
const VOID: [&str; 5] = ["meta", "link", "br", "hr", "img"];

/// A tag with what it holds.
#[derive(Debug, Default)]
pub struct Node {
    pub name: String,
    attributes: Vec<(String, String)>,
    /// `data-*` attributes of the tags around it, nearest last.
    around: Vec<(String, String)>,
    parts: Vec<Part>,
}

#[derive(Debug)]
enum Part {
    Text(String),
    Tag(Node),
}

/// A whole page.
pub struct Page(Node);

impl Page {
    /// Reads a page; panics, with the place, where tags do not match.
    pub fn read(text: &str) -> Self {
        let mut rest = text.trim_start();
        if let Some(after) = rest.strip_prefix("<!DOCTYPE html>") {
            rest = after;
        }
        let mut open = vec![Node::default()];
        while let Some(at) = rest.find('<') {
            let (before, from) = rest.split_at(at);
            add_text(&mut open, before);
            let end = from
                .find('>')
                .unwrap_or_else(|| panic!("a tag without end: {from:.60}"));
            let (tag, after) = (&from[1..end], &from[end + 1..]);
            rest = after;
            if let Some(name) = tag.strip_prefix('/') {
                let done = open.pop().expect("an open tag");
                assert_eq!(done.name, name, "closed by {name}: {after:.80}");
                open.last_mut()
                    .expect("a tag around")
                    .parts
                    .push(Part::Tag(done));
                continue;
            }
            let node = start(tag, open.last().expect("a tag around"));
            let closed = tag.ends_with('/') || VOID.contains(&node.name.as_str());
            if ["style", "script"].contains(&node.name.as_str()) {
                let close = format!("</{}>", node.name);
                let stop = rest.find(&close).unwrap_or_else(|| panic!("no {close}"));
                rest = &rest[stop + close.len()..];
            } else if closed {
                open.last_mut()
                    .expect("a tag around")
                    .parts
                    .push(Part::Tag(node));
            } else {
                open.push(node);
            }
        }
        assert_eq!(
            open.len(),
            1,
            "left open: {:?}",
            open.last().map(|n| &n.name)
        );
        Self(open.pop().expect("the root"))
    }

    pub fn all(&self, name: &str) -> Vec<&Node> {
        self.0.all(name)
    }
    pub fn text(&self) -> String {
        self.0.text()
    }
    pub fn ids(&self) -> Vec<&str> {
        let mut found = Vec::new();
        self.0.visit(&mut |node| found.extend(node.attribute("id")));
        found
    }
    /// Marks of pictures with exactly this class.
    pub fn marks(&self, class: &str) -> Vec<&Node> {
        let mut found = Vec::new();
        self.0.visit(&mut |node| {
            if node.attribute("class") == Some(class) {
                found.push(node);
            }
        });
        found
    }
}

impl Node {
    pub fn attribute(&self, name: &str) -> Option<&str> {
        let own = self.attributes.iter().find(|(n, _)| n == name);
        own.map(|(_, value)| value.as_str())
    }
    /// The attribute of this tag or of the nearest around it.
    pub fn nearest(&self, name: &str) -> Option<&str> {
        let around = || self.around.iter().rev().find(|(n, _)| n == name);
        self.attribute(name)
            .or_else(|| around().map(|(_, value)| value.as_str()))
    }
    pub fn all(&self, name: &str) -> Vec<&Node> {
        let mut found = Vec::new();
        self.visit(&mut |node| {
            if node.name == name {
                found.push(node);
            }
        });
        found
    }
    /// Cells of a row.
    pub fn cells(&self) -> Vec<&Node> {
        let own = self.parts.iter().filter_map(|part| match part {
            Part::Tag(node) => Some(node),
            Part::Text(_) => None,
        });
        own.filter(|node| ["td", "th"].contains(&node.name.as_str()))
            .collect()
    }
    pub fn text(&self) -> String {
        self.parts
            .iter()
            .map(|part| match part {
                Part::Text(text) => text.clone(),
                Part::Tag(node) => node.text(),
            })
            .collect()
    }
    fn visit<'a>(&'a self, see: &mut impl FnMut(&'a Node)) {
        see(self);
        for part in &self.parts {
            if let Part::Tag(node) = part {
                node.visit(see);
            }
        }
    }
}

fn add_text(open: &mut [Node], text: &str) {
    if !text.is_empty() {
        let plain = text
            .replace("&lt;", "<")
            .replace("&gt;", ">")
            .replace("&quot;", "\"")
            .replace("&amp;", "&");
        open.last_mut()
            .expect("a tag around")
            .parts
            .push(Part::Text(plain));
    }
}

fn start(tag: &str, around: &Node) -> Node {
    let tag = tag.trim_end_matches('/');
    let (name, mut rest) = tag.split_once(' ').unwrap_or((tag, ""));
    let mut attributes = Vec::new();
    while let Some((key, after)) = rest.split_once("=\"") {
        let (value, after) = after
            .split_once('"')
            .unwrap_or_else(|| panic!("quote in {tag}"));
        attributes.push((key.trim().to_owned(), value.to_owned()));
        rest = after;
    }
    let mut outer = around.around.clone();
    outer.extend(
        around
            .attributes
            .iter()
            .filter(|(n, _)| n.starts_with("data-"))
            .cloned(),
    );
    Node {
        name: name.to_owned(),
        attributes,
        around: outer,
        parts: Vec::new(),
    }
}
