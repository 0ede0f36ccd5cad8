"""What make.py and make2.py draw their crews with: shots by pyproj's Geod, declinations of WMM2025 by pygeomag, numbers from a seed of theirs."""
import math, os, random
from pyproj import Geod
from pygeomag import GeoMag
MODEL = GeoMag(coefficients_file='wmm/WMM_2025.COF')
def decl(base, year): return MODEL.calculate(glat=base[0], glon=base[1], alt=base[2] / 1000, time=year).d
G=Geod(ellps='WGS84'); R=random.Random()
def d(name): os.makedirs('./'+name,exist_ok=True); return './'+name+'/'
def shot(base, target, decl=0.0, eye=1.5):
    lat,lon,h=base; la,lo,hh=target
    az,_,s=G.inv(lon,lat,lo,la); az=(az-decl)%360
    dh=hh-(h+eye)
    return math.hypot(s,dh), az, math.degrees(math.atan2(dh,s)), s
def around(base,n,dmin,dmax,a0,a1,h0,h1):
    out=[]
    for i in range(n):
        a=R.uniform(a0,a1); s=R.uniform(dmin,dmax)
        lo,la,_=G.fwd(base[1],base[0],a,s)
        out.append((la,lo,base[2]+R.uniform(h0,h1)))
    return out
def c(x,n): return f'{x:.{n}f}'.replace('.',',')
