/* Search over the handbook and the records, from a web server or from file://.
   The index and the library are fetched when somebody first reaches for the search box. */
(function () {
  "use strict";

  var ROOT = document.body.dataset.root || "";
  var IN_BOX = 3, IN_PAGE = 8;
  var LITTLE = new Set("a an and are as at by do for from how i in is it of on or the to what when which with".split(" "));

  /* ---- words: the same for texts and for questions ------------------------------------------ */

  function plain(text) {
    return text.normalize("NFKD").replace(/[\u0300-\u036f]/g, "").toLowerCase().replace(/[\u202f\u00a0]/g, " ");
  }

  // a thickness is one word however it is written: quarters of an inch, as hardwood is sold
  var THICKNESS = /(?:(\d+)\/4)(?![\d/])|(?:(\d+)[ -])?(\d+(?:\.\d+)?|\d\/\d)\s*(mm|in\b|inch(?:es)?\b|")/g;

  function fraction(text) {
    var parts = text.split("/");
    return parts.length === 2 ? parts[0] / parts[1] : parseFloat(text);
  }

  function quarters(match) {
    if (match[1]) { return +match[1]; }
    var size = fraction(match[3]);
    if (match[2]) { size = /\//.test(match[3]) ? +match[2] + size : size; }
    var count = match[4] === "mm" ? size / 6.35 : size * 4;
    return Math.abs(count - Math.round(count)) <= 0.3 ? Math.round(count) : 0;
  }

  function words(text, question) {
    var found = [];
    var rest = plain(text).replace(THICKNESS, function () {
      var count = quarters(arguments);
      if (count < 2 || count > 32) { return arguments[0]; }
      found.push("thick" + count);
      return question ? " " : arguments[0];
    });
    rest = rest.replace(/\bt(\d{1,2})\s*-?\s*([a-f])([1-8])\b/g, function (whole, t, letter, number) {
      found.push("t" + t + "-" + letter + number);
      return question ? " " : " t" + t + " " + letter + number + " ";
    });
    if (!question) { // what one writer hyphenates another writes as one word
      (rest.match(/\p{L}+-\p{L}+/gu) || []).forEach(function (word) { found.push(word.replace("-", "")); });
    }
    return found.concat(rest.match(/[\p{L}\p{N}]+/gu) || []);
  }

  // one word for check, checks, checking and checked
  function stem(word) {
    if (!/^\p{Ll}{4,}$/u.test(word)) { return word; }
    var root = word.replace(/ies$/, "y").replace(/([^s])s$/, "$1").replace(/^(.{4,})(?:ing|ed)$/, "$1");
    if (root.length > 2 && /(?:ing|ed)$/.test(word)) { root = root.replace(/([bdgmnprt])\1$/, "$1"); }
    return root;
  }

  /* ---- the index ----------------------------------------------------------------------------- */

  var index, data, coming, named;

  function script(address) {
    return new Promise(function (resolve, reject) {
      var element = document.createElement("script");
      element.src = ROOT + address;
      element.onload = resolve;
      element.onerror = reject;
      document.head.append(element);
    });
  }

  function ready() {
    coming = coming || Promise.all([script("assets/vendor/minisearch.min.js"), script("assets/search-index.js")])
      .then(build);
    return coming;
  }

  function build() {
    data = window.KILNFOLIO_SEARCH;
    index = new window.MiniSearch({
      fields: ["title", "also", "text"],
      tokenize: function (text) { return words(text); },
      processTerm: stem,
    });
    index.addAll(data.entries.map(function (entry, place) {
      return { id: place, title: entry[0], also: entry[4], text: entry[5] };
    }));
    named = new Set();
    data.entries.forEach(function (entry) {
      words(entry[0] + " " + entry[4]).forEach(function (word) { named.add(stem(word)); });
    });
  }

  /* ---- a question ---------------------------------------------------------------------------- */

  function exact(term) { return /\d/.test(term); }

  // one slip of the pen in a word, two in a long one; of three letters only where nothing else is found
  function option(term, shortest) {
    return {
      queries: [term],
      prefix: term.length > 1 && !exact(term),
      fuzzy: term.length >= shortest && !exact(term) ? (term.length > 8 ? 2 : 1) : false,
    };
  }

  // a word, or what the book calls it
  function meaning(term, shortest) {
    var others = (data.synonyms[term] || []).map(function (other) {
      return { combineWith: "AND", queries: words(other, true), boost: { title: 2 } };
    });
    return others.length ? { combineWith: "OR", queries: [option(term, shortest)].concat(others) } : option(term, shortest);
  }

  // other names of two or three words, as in "black walnut"
  function phrases(terms) {
    var left = terms.slice(), found = [];
    [4, 3, 2].forEach(function (length) {
      for (var start = 0; start + length <= left.length; start += 1) {
        var phrase = left.slice(start, start + length).join(" ");
        if (data.synonyms[phrase]) {
          found.push({ combineWith: "OR", queries: [{ combineWith: "AND", queries: left.slice(start, start + length) }]
            .concat(data.synonyms[phrase].map(function (other) {
              return { combineWith: "AND", queries: words(other, true) };
            })) });
          left.splice(start, length);
        }
      }
    });
    for (var place = 0; place + 1 < left.length; place += 1) {
      if (named.has(stem(left[place] + left[place + 1]))) { // "case hardening" is one word in the book
        var pair = left.splice(place, 2);
        found.push({ combineWith: "OR", queries: [{ combineWith: "AND", queries: pair }, option(pair.join(""), 4)] });
      }
    }
    return { found: found, left: left };
  }

  var OPTIONS = {
    tokenize: function (text) { return [text]; },
    boost: { title: 5, also: 4 },
    weights: { fuzzy: 0.25, prefix: 0.5 },
    maxFuzzy: 2,
  };

  function telltale(text) {
    return words(text).filter(function (word) { return !LITTLE.has(word); }).map(stem);
  }

  // a title that says what was asked, and little else, is what was meant
  function ranked(results, asked) {
    results.forEach(function (result) {
      var title = telltale(data.entries[result.id][0]);
      var said = asked.filter(function (word) { return title.indexOf(word) >= 0; }).length / asked.length;
      var telling = title.filter(function (word) { return asked.indexOf(word) >= 0; }).length / (title.length || 1);
      result.score *= title.join(" ") === asked.join(" ") ? 3 : 1 + said * said * telling;
    });
    return results.sort(function (a, b) { return b.score - a.score || a.id - b.id; });
  }

  function find(question) {
    var terms = words(question, true);
    var telling = terms.filter(function (term) { return !LITTLE.has(term); });
    var asked = (telling.length ? telling : terms).map(stem);
    var split = phrases(telling.length ? telling : terms);
    function ask(combine, shortest) {
      var queries = split.found.concat(split.left.map(function (term) { return meaning(term, shortest); }));
      return queries.length ? ranked(index.search({ combineWith: combine, queries: queries }, OPTIONS), asked) : [];
    }
    var all = ask("AND", 4);
    if (all.length >= IN_BOX) { return all; }
    // after what holds every word, what holds some of them
    var held = new Set(all.map(function (result) { return result.id; }));
    return all.concat(ask("OR", all.length ? 4 : 3).filter(function (result) { return !held.has(result.id); }));
  }

  /* ---- results ------------------------------------------------------------------------------- */

  function marked(sentence, terms) {
    var holder = document.createElement("p"), last = 0;
    var wanted = new Set(terms);
    var pattern = /T\d{1,2}-[A-F][1-8]|[\p{L}\p{N}/]+(?:\s?mm\b)?/gu, match;
    while ((match = pattern.exec(sentence))) {
      if (words(match[0]).some(function (term) { return wanted.has(stem(term)); })) {
        holder.append(sentence.slice(last, match.index));
        var mark = document.createElement("mark");
        mark.textContent = match[0];
        holder.append(mark);
        last = match.index + match[0].length;
      }
    }
    holder.append(sentence.slice(last));
    return holder;
  }

  // the sentence that holds most of what was asked for
  function telling(text, terms) {
    var wanted = new Set(terms), best = "", most = 0;
    text.split(/\n|(?<=[.!?])\s+(?=\p{Lu})/u).forEach(function (sentence) {
      var held = new Set(words(sentence).map(stem).filter(function (term) { return wanted.has(term); }));
      var worth = 0; // of two sentences with as many of the words, the one with the longer says more
      held.forEach(function (term) { worth += 1 + term.length / 100; });
      if (worth > most) { most = worth; best = sentence; }
    });
    if (best.length > 220) {
      var first = words(best).findIndex(function (term) { return wanted.has(stem(term)); });
      var from = Math.max(0, best.split(/\s+/).slice(0, Math.max(0, first - 12)).join(" ").length);
      best = (from ? "… " : "") + best.slice(from, from + 200).trim() + " …";
    }
    return best;
  }

  function hit(result) {
    var entry = data.entries[result.id], item = document.createElement("li"), link = document.createElement("a");
    item.className = "hit";
    link.href = ROOT + entry[2];
    link.textContent = entry[0];
    item.append(link);
    if (entry[3]) {
      var within = document.createElement("span");
      within.className = "hit-kind";
      within.textContent = " " + entry[3];
      item.append(within);
    }
    var sentence = telling(entry[5], result.terms) || entry[5].split("\n")[0].slice(0, 160);
    item.append(marked(sentence, result.terms));
    return item;
  }

  function show(place, question, most) {
    place.replaceChildren();
    if (!question.trim()) { return 0; }
    var results = find(question), groups = new Map();
    results.forEach(function (result) {
      var kind = data.entries[result.id][1];
      if (!groups.has(kind)) { groups.set(kind, []); }
      groups.get(kind).push(result);
    });
    groups.forEach(function (found, kind) {
      var heading = document.createElement("h2"), list = document.createElement("ol");
      heading.textContent = data.headings[kind] + (found.length > most ? ", " + most + " of " + found.length : "");
      found.slice(0, most).forEach(function (result) { list.append(hit(result)); });
      place.append(heading, list);
    });
    if (!results.length) {
      var none = document.createElement("p");
      none.textContent = "Nothing was found. Try another word, or fewer.";
      place.append(none);
    }
    return results.length;
  }

  /* ---- the boxes ----------------------------------------------------------------------------- */

  function box(form) {
    var input = form.querySelector("input");
    var page = form.dataset.results ? document.getElementById(form.dataset.results) : null;
    var place = page || form.appendChild(document.createElement("div"));
    if (!page) {
      place.className = "search-results";
      place.setAttribute("aria-live", "polite");
      document.addEventListener("click", function (event) {
        if (!form.contains(event.target)) { place.replaceChildren(); }
      });
    }
    function ask() {
      ready().then(function () {
        var count = show(place, input.value, page ? IN_PAGE : IN_BOX);
        var rest = document.getElementById("everything");
        if (page && rest) { rest.hidden = Boolean(input.value.trim() && count); }
      });
    }
    input.addEventListener("focus", ready, { once: true });
    input.addEventListener("input", ask);
    form.addEventListener("keydown", function (event) {
      if (event.key === "Escape") { place.replaceChildren(); input.focus(); }
    });
    if (page) {
      form.addEventListener("submit", function (event) { event.preventDefault(); ask(); });
      input.value = new URLSearchParams(location.search).get("q") || "";
      if (input.value) { ask(); }
      input.focus();
    }
  }

  document.querySelectorAll(".search-box").forEach(box);
  // for tests, and for whoever is curious
  window.kilnfolioSearch = { ready: ready, find: function (question) {
    return find(question).map(function (result) { return data.entries[result.id]; });
  } };
}());
