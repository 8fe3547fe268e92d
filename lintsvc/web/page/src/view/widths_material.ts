// Draws a width as the colour of its band, striped where it is below the limit.
import { Color, DoubleSide, type Plane, ShaderMaterial } from "three";

const VERTEX = `
attribute float width;
varying float vWidth;
varying vec3 vSeen;
#include <clipping_planes_pars_vertex>
void main() {
  vWidth = width;
  vec4 mvPosition = modelViewMatrix * vec4(position, 1.0);
  vSeen = -mvPosition.xyz;
  #include <clipping_planes_vertex>
  gl_Position = projectionMatrix * mvPosition;
}`;
const FRAGMENT = `
uniform sampler2D ramp;
uniform float band;
uniform float bands;
uniform float below;
uniform bool only;
uniform vec3 none;
uniform vec3 stripe;
varying float vWidth;
varying vec3 vSeen;
#include <clipping_planes_pars_fragment>
void main() {
  #include <clipping_planes_fragment>
  if (only && vWidth >= below) discard;
  // Little shade, so that a colour stays the one of the scale.
  vec3 normal = normalize(cross(dFdx(vSeen), dFdy(vSeen)));
  float shade = 0.86 + 0.14 * abs(normal.z);
  vec3 colour = none;
  float which = floor(vWidth / band);
  if (which < bands) colour = texture2D(ramp, vec2((which + 0.5) / bands, 0.5)).rgb;
  else shade -= 0.14 * (1.0 - abs(normal.y + 0.4 * normal.z));
  if (vWidth < below && mod(gl_FragCoord.x + gl_FragCoord.y, 10.0) < 2.5) colour = stripe;
  gl_FragColor = vec4(colour * shade, 1.0);
}`;

export const widthsMaterial = (clippingPlanes: Plane[]) =>
  new ShaderMaterial({
    vertexShader: VERTEX, fragmentShader: FRAGMENT, side: DoubleSide, clipping: true, clippingPlanes,
    uniforms: {
      ramp: { value: null }, band: { value: 1 }, bands: { value: 1 }, below: { value: 0 }, only: { value: false },
      none: { value: new Color() }, stripe: { value: new Color() },
    },
  });
