/* What is on the screen is drawn at once, the rest when the browser is idle. */
window.discward = window.discward || {};

window.discward.waiting = [];

window.discward.drawNext = function () {
  var draw = window.discward.waiting.shift();
  if (draw) {
    draw();
    window.discward.whenIdle();
  }
};

window.discward.whenIdle = function () {
  if (window.requestIdleCallback) {
    window.requestIdleCallback(window.discward.drawNext, { timeout: 500 });
  } else {
    window.setTimeout(window.discward.drawNext, 50);
  }
};

// Act now for a place on the screen, else when idle; gives what calls it off.
window.discward.whenSeen = function (place, act) {
  var box = place.getBoundingClientRect();
  if (box.bottom > 0 && box.top < window.innerHeight) {
    act();
    return undefined;
  }
  window.discward.waiting.push(act);
  window.discward.whenIdle();
  return function () {
    window.discward.waiting = window.discward.waiting.filter(function (other) {
      return other !== act;
    });
  };
};

// Paper shows the whole page, so nothing may still wait.
window.addEventListener("beforeprint", function () {
  window.discward.waiting.splice(0).forEach(function (draw) {
    draw();
  });
});

window.discward.Figure = function (props) {
  var make = React.createElement;
  var place = React.useRef(null);
  var state = React.useState(null);
  var shown = state[0];

  React.useLayoutEffect(
    function () {
      return window.discward.whenSeen(place.current, function () {
        state[1](props.figure);
      });
    },
    [props.figure]
  );

  var graph =
    shown &&
    make(window.dash_core_components.Graph, {
      figure: shown,
      responsive: true,
      config: props.config,
      style: { height: "100%" },
      setProps: function () {},
    });
  return make("div", { ref: place, style: { height: props.height + "px" } }, graph);
};
