// What a test asks of a page that stands in a browser. Each answer is a list of sentences, empty where all is well.
(() => {
  const ACTS = "a[href], button, input, select, textarea, summary, iframe, [tabindex='0']"
  const name = one => {
    const words = (one.getAttribute("aria-label") || one.innerText || one.name || one.id || "").trim().replace(/\s+/g, " ")
    return `${one.tagName.toLowerCase()} "${words.slice(0, 40)}"`
  }
  const seen = one => one.checkVisibility({ visibilityProperty: true }) && one.getClientRects().length > 0
  // What a finger may touch for it: a tick box has its words, a file chooser the half of the mould.
  const touched = one => one.closest("label") || one
  const box = one => one.getBoundingClientRect()
  const acts = () =>
    [...document.querySelectorAll(ACTS)].filter(one => one.type !== "hidden" && !one.disabled && seen(touched(one)) && seen(one))
  // WCAG 2.2, 2.5.8: a link in a sentence is as high as its line.
  const inSentence = one =>
    one.tagName === "A" && getComputedStyle(one).display === "inline" && one.parentElement.innerText.trim() !== one.innerText.trim()

  const offTheSide = () => {
    const over = document.scrollingElement.scrollWidth - innerWidth
    if (over <= 0) return []
    const wide = [...document.body.querySelectorAll("*")].filter(one => seen(one) && box(one).right > innerWidth + 0.5)
    return [`${over} px run off the side: ${wide.slice(-3).map(name).join(", ")}`]
  }
  const tooSmall = least =>
    acts()
      .filter(one => !one.matches("iframe, .skip") && !inSentence(one))
      .map(one => [one, box(touched(one))])
      .filter(([one, { width, height }]) => Math.min(width, height) < least - 0.5)
      .map(([one, { width, height }]) => `${name(one)} is ${Math.round(width)} × ${Math.round(height)} px`)

  // By keyboard: a group of radio buttons is one stop, as browsers have it.
  const stops = () => {
    const groups = new Set()
    return acts().filter(one => {
      if (one.tabIndex < 0) return false
      if (one.type !== "radio") return true
      const group = [...document.querySelectorAll(`input[type=radio][name="${one.name}"]`)]
      if (groups.has(one.name) || one !== (group.find(other => other.checked) || one)) return false
      groups.add(one.name)
      return true
    })
  }
  const ringed = one => {
    for (let at = one; at && at !== document.body; at = at.parentElement) {
      const { outlineStyle, outlineWidth } = getComputedStyle(at)
      if (outlineStyle !== "none" && parseFloat(outlineWidth) >= 2) return true
    }
    return false
  }
  // WCAG 2.2, 2.4.11: something of it shows, whatever sticks to the edge of the screen.
  const uncovered = one => {
    const around = touched(one)
    return [...one.getClientRects()].some(({ left, top, width, height }) =>
      [0.1, 0.5, 0.9].some(x => [0.1, 0.5, 0.9].some(y => {
        const hit = document.elementFromPoint(left + x * width, top + y * height)
        return hit && (around.contains(hit) || hit.contains(one) && hit.tagName !== "MAIN" && hit.tagName !== "BODY" && hit.tagName !== "HTML")
      })))
  }
  // The stop that has the focus: its number, and what is wrong with how it shows. -1: none of them.
  const focused = () => {
    const one = document.activeElement
    const at = stops().indexOf(one)
    if (at < 0) return [at, name(one), []]
    const wrong = []
    if (one.tagName !== "IFRAME" && !ringed(one)) wrong.push(`${name(one)} does not show that it has the focus`)
    if (!uncovered(one)) wrong.push(`${name(one)} has the focus behind something`)
    return [at, name(one), wrong]
  }
  // Without script: whatever can be pressed does something by itself.
  const dead = () =>
    acts()
      .filter(one => one.matches("button, input[type=submit]") && !(one.form && one.type === "submit"))
      .map(one => `${name(one)} does nothing without script`)
  const headings = () => {
    const count = [...document.querySelectorAll("h1")].filter(seen).length
    return count === 1 ? [] : [`${count} headings of the first rank`]
  }
  // With forced colours the grounds are gone, so what can be pressed has an edge, and words are not of the ground's colour.
  const ground = one => {
    const { backgroundColor } = getComputedStyle(one)
    return /, 0\)$/.test(backgroundColor) && one.parentElement ? ground(one.parentElement) : backgroundColor
  }
  const faint = () => {
    const edged = [...document.querySelectorAll(".btn:not(.plain), .shut, a.tape, .say, input:not([type=hidden], [type=radio], [type=checkbox]), select, textarea")]
    const bare = edged.filter(seen).filter(one => {
      const { borderTopStyle, borderTopWidth, opacity } = getComputedStyle(one)
      return opacity !== "0" && (borderTopStyle === "none" || parseFloat(borderTopWidth) < 1)
    })
    const lost = acts().filter(one => one.matches("a, button, summary") && getComputedStyle(one).color === ground(one))
    return [...bare.map(one => `${name(one)} has no edge`), ...lost.map(one => `${name(one)} cannot be told from its ground`)]
  }
  window.lookAt = { offTheSide, tooSmall, stops: () => stops().map(name), focused, dead, headings, faint }
})()
