// What a look at a screen measures, for test_looks.py; a script, not a module.
const looks = {
  contrasts: () => {
    const channel = (value) => { const part = value / 255; return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4; };
    const light = ([red, green, blue]) => 0.2126 * channel(red) + 0.7152 * channel(green) + 0.0722 * channel(blue);
    const parts = (colour) => colour.match(/[0-9.]+/g).map(Number);
    const behind = (each) => {
      for (let at = each; at; at = at.parentElement) {
        const found = parts(getComputedStyle(at).backgroundColor);
        if (found.length < 4 || found[3] === 1) return found;
      }
      return parts(getComputedStyle(document.documentElement).backgroundColor);
    };
    const shown = (each) => each.checkVisibility() && !(each instanceof SVGElement) && !each.closest(":disabled, .camera.live")
      && [...each.childNodes].some((child) => child.nodeType === 3 && child.textContent.trim());
    return [...document.querySelectorAll("body *")].filter(shown).map((each) => {
      const [one, two] = [light(parts(getComputedStyle(each).color)), light(behind(each))];
      return [each.textContent.trim().slice(0, 40), (Math.max(one, two) + 0.05) / (Math.min(one, two) + 0.05)];
    });
  },
  sizes: () => [...document.querySelectorAll("button, .primary, .actions span, .cell, summary, input, .check")].filter(
    (each) => each.checkVisibility() && !each.closest(".actions label, .cavities label, .file") | each.matches(".primary, .actions span, .cell")).map((each) => {
    const box = each.getBoundingClientRect();
    const held = each.matches("input[type=checkbox]") ? each.closest("label").getBoundingClientRect() : box;
    const gloved = each.matches(".primary, .actions span, .cell") && !each.closest(".inline");
    return [each.textContent.trim() || each.id, gloved, held.width, held.height];
  }),
  beyond: () => {
    const wide = document.documentElement.clientWidth;
    return [...document.querySelectorAll("body *")].filter((each) => each.checkVisibility() && !each.closest("svg, .chosen ul")).filter((each) => {
      const box = each.getBoundingClientRect();
      return box.right > wide + 1 || box.left < -1 || (each.matches("button, .cell, .actions span") && each.scrollWidth > each.clientWidth + 1);
    }).map((each) => `${each.tagName}.${each.className} ${each.textContent.trim().slice(0, 40)}`);
  },
  lengthen: () => {
    const texts = document.createTreeWalker(document.getElementById("bench"), NodeFilter.SHOW_TEXT);
    // German runs about a third longer than English, and in longer words.
    while (texts.nextNode()) {
      const at = texts.currentNode;
      if (at.parentElement.closest("svg") || !/[a-z]{3}/.test(at.data)) continue;
      at.was = at.data;
      at.data = at.data.replace(/[a-z]{4,}/gi, (word) => word + word.slice(0, Math.ceil(word.length * 0.4)));
    }
  },
  shorten: () => {
    const texts = document.createTreeWalker(document.getElementById("bench"), NodeFilter.SHOW_TEXT);
    while (texts.nextNode()) if (texts.currentNode.was !== undefined) texts.currentNode.data = texts.currentNode.was;
  },
};
