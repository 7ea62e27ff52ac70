//! The XML of an answer as a small tree: Namespaces in XML 1.0, whatever the prefixes. Bytes, depth and
//! number of elements are bounded; a document type, and with it every entity of its own, is refused.

use core::str::FromStr;

use quick_xml::NsReader;
use quick_xml::escape::resolve_xml_entity;
use quick_xml::events::{BytesStart, Event};
use quick_xml::name::{Namespace, ResolveResult};

use super::{DEVICE, NAMESPACES, SCHEMA};

/// Elements inside each other, at most; the deepest place that is read is the tenth.
const MAX_DEPTH: usize = 24;
/// Elements of one answer, at most: a device with a dozen interfaces has some three hundred.
const MAX_NODES: usize = 4096;
/// Bytes of text kept of one element.
const MAX_TEXT: usize = 1024;

/// Whose an element is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Space {
    /// An envelope's, of SOAP 1.2 or 1.1.
    Soap,
    /// The device service's, or of its types: devices mix the two up (common practice, no source).
    Onvif,
    /// Somebody else's, or nobody's, as the parts of a fault in SOAP 1.1.
    Other,
}

/// An element.
#[derive(Debug)]
pub(super) struct Node {
    space: Space,
    name: String,
    /// Its attribute `token`, as written: it goes back to the device.
    pub(super) token: Option<String>,
    text: String,
    children: Vec<Self>,
}

impl Node {
    /// The first child of that name which is the service's.
    pub(super) fn child(&self, name: &str) -> Option<&Self> {
        self.all(name).next()
    }

    /// The children of that name which are the service's.
    pub(super) fn all(&self, name: &str) -> impl Iterator<Item = &Self> {
        let fits = move |node: &&Self| node.space == Space::Onvif && node.name == name;
        self.children.iter().filter(fits)
    }

    /// The element at the end of this path of the service's.
    pub(super) fn down(&self, path: &[&str]) -> Option<&Self> {
        path.iter().try_fold(self, |node, name| node.child(name))
    }

    /// Its text, without blanks around it.
    pub(super) fn text(&self) -> &str {
        self.text.trim()
    }

    /// The text of a child as a number.
    pub(super) fn number<T: FromStr>(&self, name: &str) -> Option<T> {
        self.child(name)?.text().parse().ok()
    }

    /// The text of a child as truth (XML Schema part 2 section 3.2.2).
    pub(super) fn truth(&self, name: &str) -> Option<bool> {
        match self.child(name)?.text().to_ascii_lowercase().as_str() {
            "true" | "1" => Some(true),
            "false" | "0" => Some(false),
            _ => None,
        }
    }

    /// What it is called, whosever it is.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// Whether it is the service's and called so.
    pub(super) fn is(&self, name: &str) -> bool {
        self.space == Space::Onvif && self.name == name
    }

    /// Whether it is a fault.
    pub(super) fn is_fault(&self) -> bool {
        self.space == Space::Soap && self.name == "Fault"
    }

    /// Calls `see` with the name and the text of each element below.
    pub(super) fn each<'a>(&'a self, see: &mut impl FnMut(&'a str, &'a str)) {
        // No deeper than the reader went.
        for child in &self.children {
            see(&child.name, child.text());
            child.each(see);
        }
    }
}

/// Why there is no tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoTree {
    /// It is not XML, or not whole.
    NotXml,
    /// XML, but not an envelope with something in its body.
    NotSoap,
    /// Deeper or of more parts than is read.
    TooMuch,
}

/// What stands in the body of the envelope that `bytes` are.
pub(super) fn body(bytes: &[u8]) -> Result<Node, NoTree> {
    let root = read(bytes)?;
    let soap = |node: &Node, name: &str| node.space == Space::Soap && node.name == name;
    if !soap(&root, "Envelope") {
        return Err(NoTree::NotSoap);
    }
    let body = root.children.into_iter().find(|node| soap(node, "Body"));
    let mut inside = body.ok_or(NoTree::NotSoap)?.children.into_iter();
    inside.next().ok_or(NoTree::NotSoap)
}

/// The root element of `bytes`.
pub(super) fn read(bytes: &[u8]) -> Result<Node, NoTree> {
    // What is not UTF-8 was a text for people in another encoding.
    let text = String::from_utf8_lossy(bytes);
    let mut reader = NsReader::from_str(&text);
    reader.config_mut().expand_empty_elements = true;
    let mut open: Vec<Node> = Vec::new();
    let mut count = 0;
    loop {
        match reader.read_resolved_event().map_err(|_| NoTree::NotXml)? {
            (space, Event::Start(tag)) => {
                count += 1;
                if count > MAX_NODES || open.len() >= MAX_DEPTH {
                    return Err(NoTree::TooMuch);
                }
                open.push(node(&space, &tag)?);
            }
            (_, Event::End(_)) => {
                let Some(done) = open.pop() else {
                    return Err(NoTree::NotXml);
                };
                match open.last_mut() {
                    Some(parent) => parent.children.push(done),
                    None => return Ok(done),
                }
            }
            (_, Event::Text(text)) => add(&mut open, &text),
            (_, Event::CData(text)) => add(&mut open, &text),
            (_, Event::GeneralRef(entity)) => {
                let c = entity.resolve_char_ref().map_err(|_| NoTree::NotXml)?;
                match c {
                    Some(c) => add(&mut open, c.encode_utf8(&mut [0; 4])),
                    None => add(&mut open, resolve_xml_entity(&entity).ok_or(NoTree::NotXml)?),
                }
            }
            (_, Event::DocType(_) | Event::Eof) => return Err(NoTree::NotXml),
            _ => {}
        }
    }
}

fn node(space: &ResolveResult<'_>, tag: &BytesStart<'_>) -> Result<Node, NoTree> {
    let space = match space {
        ResolveResult::Bound(Namespace(ns)) if NAMESPACES.iter().any(|soap| ns == soap) => Space::Soap,
        ResolveResult::Bound(Namespace(ns)) if *ns == DEVICE || *ns == SCHEMA => Space::Onvif,
        _ => Space::Other,
    };
    let mut token = None;
    for attribute in tag.attributes() {
        let attribute = attribute.map_err(|_| NoTree::NotXml)?;
        if attribute.key.as_ref() == "token" {
            let value = quick_xml::escape::unescape(&attribute.value).map_err(|_| NoTree::NotXml)?;
            token = Some(value.into_owned());
        }
    }
    Ok(Node {
        space,
        name: tag.local_name().as_ref().to_owned(),
        token,
        text: String::new(),
        children: Vec::new(),
    })
}

/// Adds to the text of the element that is being read.
fn add(open: &mut [Node], text: &str) {
    if let Some(node) = open.last_mut() {
        let room = MAX_TEXT.saturating_sub(node.text.len());
        let end = text.floor_char_boundary(room);
        node.text.push_str(text.get(..end).unwrap_or_default());
    }
}
