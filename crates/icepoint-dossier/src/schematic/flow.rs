//! Which way the signal runs: branches, distances from the thermocouple, and what is feedback.

use super::circuit::{Circuit, Role};

/// Poles in a row between two nodes; more than one only where nothing else hangs between them.
#[derive(Clone, Debug)]
pub(super) struct Branch {
    /// Indices of poles, from `a` to `b`.
    pub poles: Vec<usize>,
    pub a: usize,
    pub b: usize,
    /// Nodes between the poles.
    pub between: Vec<usize>,
}

impl Branch {
    pub fn other(&self, node: usize) -> usize {
        if self.a == node { self.b } else { self.a }
    }
}

/// How a branch is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// Standing, from a bar of the node to a rail symbol or flag at the branch's other end.
    Stub(usize),
    /// Lying in the signal's way, from the first node to the second.
    Series(usize, usize),
    /// Between two nodes that have their places already.
    Join,
    /// Between two rails.
    Island,
}

/// What feeds a node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Feed {
    None,
    Bead,
    Block(usize),
    /// Branch and the node it comes from.
    Branch(usize, usize),
}

/// The way of the signal.
#[derive(Clone, Debug)]
pub(super) struct Flow {
    pub branches: Vec<Branch>,
    pub places: Vec<Place>,
    /// Hops from the thermocouple; what it never reaches stands from [`FAR`] on.
    pub hops: Vec<u32>,
    pub feed: Vec<Feed>,
    /// Nodes that work like rails: a buffer drives them, the thermocouple does not, and several parts hang on them.
    pub soft: Vec<bool>,
    /// Node lies inside of a branch.
    pub inside: Vec<bool>,
    /// Names of nodes on flags, each its own.
    pub names: Vec<String>,
}

pub(super) const FAR: u32 = 1000;

impl Flow {
    pub fn new(c: &Circuit) -> Self {
        let (branches, inside) = branches(c);
        let mut flow = Self {
            places: vec![Place::Join; branches.len()],
            hops: vec![u32::MAX; c.nodes.len()],
            feed: vec![Feed::None; c.nodes.len()],
            soft: vec![false; c.nodes.len()],
            inside,
            names: Vec::new(),
            branches,
        };
        flow.spread(c);
        flow.soften(c);
        flow.classify(c);
        flow.name(c);
        flow
    }

    fn inner(&self, c: &Circuit, i: usize) -> bool {
        let b = &self.branches[i];
        c.signal(b.a) && c.signal(b.b) && b.a != b.b
    }

    /// Whether the negative leg feeds a block by itself, rather than standing on a source of its own.
    fn leg_feeds(&self, c: &Circuit) -> bool {
        let mut seen = vec![false; c.nodes.len()];
        let mut open = vec![c.minus];
        let driven = |n: usize| c.blocks.iter().any(|b| b.out.as_ref().is_some_and(|o| o.node == n));
        while let Some(n) = open.pop() {
            if seen[n] || !c.signal(n) || n == c.plus || driven(n) {
                continue;
            }
            seen[n] = true;
            if c.blocks.iter().any(|b| b.inputs.iter().any(|p| p.node == n)) {
                return true;
            }
            open.extend(self.branches.iter().filter(|b| b.a == n || b.b == n).map(|b| b.other(n)));
        }
        false
    }

    /// Shortest ways from the sources.
    fn spread(&mut self, c: &Circuit) {
        let driver = |n: usize| c.blocks.iter().position(|b| b.out.as_ref().is_some_and(|o| o.node == n));
        let start = |flow: &mut Self, n: usize, hops: u32, feed: Feed| {
            if c.signal(n) && flow.hops[n] == u32::MAX {
                flow.hops[n] = hops;
                flow.feed[n] = feed;
            }
        };
        start(self, c.plus, 0, Feed::Bead);
        if self.leg_feeds(c) && driver(c.minus).is_none() {
            start(self, c.minus, 0, Feed::Bead);
        }
        for (i, b) in c.blocks.iter().enumerate() {
            if let (true, Some(out)) = (b.inputs.is_empty(), &b.out) {
                start(self, out.node, 0, Feed::Block(i));
            }
        }
        self.relax(c);
        // What stands between rails is a source too.
        let fed = |flow: &Self, n: usize| {
            let reach = |b: &Branch| {
                (b.a == n || b.b == n) && matches!(c.nodes[b.other(n)].role, Role::Above(_) | Role::Below(_))
            };
            flow.branches.iter().any(reach)
        };
        let unreached = |flow: &Self, n: usize| {
            c.signal(n) && !flow.inside[n] && flow.hops[n] == u32::MAX && driver(n).is_none()
        };
        for n in 0..c.nodes.len() {
            if unreached(self, n) && fed(self, n) {
                start(self, n, FAR, Feed::None);
            }
        }
        self.relax(c);
        for n in 0..c.nodes.len() {
            if c.signal(n) && !self.inside[n] && self.hops[n] == u32::MAX {
                start(self, n, 2 * FAR, driver(n).map_or(Feed::None, Feed::Block));
                self.relax(c);
            }
        }
    }

    fn relax(&mut self, c: &Circuit) {
        let driven: Vec<bool> = (0..c.nodes.len())
            .map(|n| c.blocks.iter().any(|b| b.out.as_ref().is_some_and(|o| o.node == n)))
            .collect();
        loop {
            let mut changed = false;
            for i in 0..self.branches.len() {
                if !self.inner(c, i) {
                    continue;
                }
                let (a, b) = (self.branches[i].a, self.branches[i].b);
                for (from, to) in [(a, b), (b, a)] {
                    let hops = self.hops[from].saturating_add(1);
                    if self.hops[from] != u32::MAX && !driven[to] && hops < self.hops[to] {
                        self.hops[to] = hops;
                        self.feed[to] = Feed::Branch(i, from);
                        changed = true;
                    }
                }
            }
            for (i, b) in c.blocks.iter().enumerate() {
                let Some(out) = &b.out else { continue };
                let nearest = b
                    .inputs
                    .iter()
                    .filter(|p| p.node != out.node)
                    .map(|p| self.hops[p.node])
                    .min()
                    .unwrap_or(u32::MAX);
                if nearest != u32::MAX && c.signal(out.node) && nearest + 1 < self.hops[out.node] {
                    self.hops[out.node] = nearest + 1;
                    self.feed[out.node] = Feed::Block(i);
                    changed = true;
                }
            }
            if !changed {
                return;
            }
        }
    }

    /// The block whose output the node follows through branches alone.
    pub fn root(&self, mut n: usize) -> Feed {
        for _ in 0..self.feed.len() {
            match self.feed[n] {
                Feed::Branch(_, from) => n = from,
                other => return other,
            }
        }
        Feed::None
    }

    /// Whether the node is an input of the block that feeds it.
    pub fn feedback(&self, c: &Circuit, n: usize) -> bool {
        match self.root(n) {
            Feed::Block(b) => c.blocks[b].inputs.iter().any(|p| p.node == n),
            _ => false,
        }
    }

    fn soften(&mut self, c: &Circuit) {
        for b in &c.blocks {
            let Some(out) = &b.out else { continue };
            let n = out.node;
            if !c.signal(n) || self.hops[n] < FAR {
                continue;
            }
            let own = |m: usize| b.inputs.iter().any(|p| p.node == m);
            let hung = self.branches.iter().filter(|x| (x.a == n || x.b == n) && !own(x.other(n))).count();
            let pins = c
                .blocks
                .iter()
                .flat_map(|x| x.inputs.iter().chain(&x.others).map(move |p| (x, p)))
                .filter(|(x, p)| p.node == n && x.designator != b.designator)
                .count();
            self.soft[n] = hung + pins >= 2;
        }
    }

    fn name(&mut self, c: &Circuit) {
        let rails: Vec<&str> = c
            .nodes
            .iter()
            .filter_map(|n| match &n.role {
                Role::Above(name) | Role::Below(name) => Some(name.as_str()),
                _ => None,
            })
            .collect();
        for (n, node) in c.nodes.iter().enumerate() {
            let exit = c.exits.iter().find(|e| e.0 == n).map(|e| e.1.clone());
            let plain = match (exit, self.feed[n]) {
                (Some(name), _) => name,
                (None, Feed::Block(b)) if c.signal(n) && !self.soft[n] => {
                    format!("{} OUT", c.blocks[b].designator)
                }
                _ => node.name.replace('_', " ").to_uppercase(),
            };
            let mut name = plain.clone();
            let mut count = 2;
            while self.names.contains(&name)
                || rails.contains(&name.as_str())
                || name == "0 V"
                || name == "counts"
            {
                name = format!("{plain} {count}");
                count += 1;
            }
            self.names.push(name);
        }
    }

    fn classify(&mut self, c: &Circuit) {
        for i in 0..self.branches.len() {
            let b = &self.branches[i];
            let (a, z) = (b.a, b.b);
            let own = |soft: usize, n: usize| match self.feed[soft] {
                Feed::Block(k) => c.blocks[k].inputs.iter().any(|p| p.node == n),
                _ => false,
            };
            self.places[i] = match (c.signal(a), c.signal(z)) {
                (false, false) => Place::Island,
                (true, false) => Place::Stub(a),
                (false, true) => Place::Stub(z),
                _ if self.soft[a] && !own(a, z) => Place::Stub(z),
                _ if self.soft[z] && !own(z, a) => Place::Stub(a),
                _ => match (self.feed[a], self.feed[z]) {
                    (_, Feed::Branch(k, from)) if k == i && from == a && !self.feedback(c, z) => {
                        Place::Series(a, z)
                    }
                    (Feed::Branch(k, from), _) if k == i && from == z && !self.feedback(c, a) => {
                        Place::Series(z, a)
                    }
                    _ => Place::Join,
                },
            };
        }
    }
}

/// Poles gathered to branches, and the nodes that lie inside of one.
fn branches(c: &Circuit) -> (Vec<Branch>, Vec<bool>) {
    let mut inside = vec![false; c.nodes.len()];
    let hidden = |n: usize| {
        c.signal(n)
            && c.poles.iter().filter(|p| p.a == n || p.b == n).count() == 2
            && !c.blocks.iter().any(|b| b.inputs.iter().chain(&b.others).chain(&b.out).any(|p| p.node == n))
            && n != c.plus
            && n != c.minus
            && n != c.output
            && !c.tests.iter().chain(&c.taps).any(|t| t.1 == n)
    };
    let mut used = vec![false; c.poles.len()];
    let mut list = Vec::new();
    // Rows that begin at a rail first, then the others; each from an end where more than the row hangs.
    let ends = |i: usize| [(c.poles[i].a, c.poles[i].b), (c.poles[i].b, c.poles[i].a)];
    let rails = (0..c.poles.len()).flat_map(|i| ends(i).map(|e| (i, e.0, e.1))).filter(|e| !c.signal(e.1));
    let nodes = (0..c.poles.len()).flat_map(|i| ends(i).map(|e| (i, e.0, e.1))).filter(|e| !hidden(e.1));
    // At last rings of parts that nothing else touches: they break anywhere.
    let rings = (0..c.poles.len()).map(|i| (i, c.poles[i].a, c.poles[i].b));
    for (first, start, mut at) in rails.chain(nodes).chain(rings) {
        if used[first] {
            continue;
        }
        let mut branch = Branch { poles: vec![first], a: start, b: start, between: Vec::new() };
        used[first] = true;
        while hidden(at) {
            let next = (0..c.poles.len()).find(|i| !used[*i] && (c.poles[*i].a == at || c.poles[*i].b == at));
            let Some(next) = next else { break };
            used[next] = true;
            branch.between.push(at);
            inside[at] = true;
            branch.poles.push(next);
            at = if c.poles[next].a == at { c.poles[next].b } else { c.poles[next].a };
        }
        branch.b = at;
        list.push(branch);
    }
    (list, inside)
}
