//! The list of elements and nodes: what stands on the schematic, as plain data.
//!
//! **In, out.** Names and nominal figures in; [`Circuit::new`](crate::Circuit::new) checks and compiles them. Adding
//! never fails: everything wrong is told at once by the check.

use crate::element::Element;

/// A node of one [`Netlist`]. Made by [`Netlist::node`]; meaningless in another netlist.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node(pub(crate) u32);

/// An element of one [`Netlist`], in the order of adding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ElementId(pub(crate) u32);

impl ElementId {
    /// Position in the order of adding, from 0.
    #[must_use]
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// A circuit as plain data: named nodes, named elements.
#[derive(Clone, Debug, PartialEq)]
pub struct Netlist {
    names: Vec<String>,
    elements: Vec<(String, Element)>,
}

impl Default for Netlist {
    fn default() -> Self {
        Netlist::new()
    }
}

impl Netlist {
    /// The node against which every voltage is counted: 0 V. Its names are `0` and `gnd`.
    pub const GROUND: Node = Node(0);

    /// An empty circuit: only ground.
    #[must_use]
    pub fn new() -> Self {
        Netlist { names: vec!["gnd".to_owned()], elements: Vec::new() }
    }

    /// The node of this name, made if there is none. `0` and `gnd` (any case) are ground; other names keep their case.
    pub fn node(&mut self, name: &str) -> Node {
        if let Some(node) = self.find_node(name) {
            return node;
        }
        self.names.push(name.to_owned());
        Node((self.names.len() - 1) as u32)
    }

    /// The node of this name, if there is one.
    #[must_use]
    pub fn find_node(&self, name: &str) -> Option<Node> {
        if name == "0" || name.eq_ignore_ascii_case("gnd") {
            return Some(Netlist::GROUND);
        }
        self.names.iter().position(|n| n == name).map(|at| Node(at as u32))
    }

    /// Name of a node; `?` for a node of another netlist.
    #[must_use]
    pub fn node_name(&self, node: Node) -> &str {
        self.names.get(node.0 as usize).map_or("?", String::as_str)
    }

    /// How many nodes, ground included.
    #[must_use]
    pub fn node_count(&self) -> usize {
        self.names.len()
    }

    /// Every node, ground first, then in the order of making.
    pub fn nodes(&self) -> impl Iterator<Item = Node> + use<> {
        (0..self.names.len() as u32).map(Node)
    }

    /// Adds an element under a name. A name given twice is reported by [`Circuit::new`](crate::Circuit::new).
    pub fn add(&mut self, name: &str, element: Element) -> ElementId {
        self.elements.push((name.to_owned(), element));
        ElementId((self.elements.len() - 1) as u32)
    }

    /// Every element with its name, in the order of adding.
    pub fn elements(&self) -> impl Iterator<Item = (ElementId, &str, &Element)> {
        self.elements
            .iter()
            .enumerate()
            .map(|(at, (name, element))| (ElementId(at as u32), name.as_str(), element))
    }

    /// Name of an element; `?` for an element of another netlist.
    #[must_use]
    pub fn element_name(&self, id: ElementId) -> &str {
        self.elements.get(id.index()).map_or("?", |(name, _)| name.as_str())
    }

    /// An element by its id.
    #[must_use]
    pub fn element(&self, id: ElementId) -> Option<&Element> {
        self.elements.get(id.index()).map(|(_, element)| element)
    }

    /// The element to change in place, for instance to give a resistor another value before compiling again.
    pub fn element_mut(&mut self, id: ElementId) -> Option<&mut Element> {
        self.elements.get_mut(id.index()).map(|(_, element)| element)
    }

    /// The first element of this name.
    #[must_use]
    pub fn find_element(&self, name: &str) -> Option<ElementId> {
        self.elements.iter().position(|(n, _)| n == name).map(|at| ElementId(at as u32))
    }
}
